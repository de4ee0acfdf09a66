"""What the checks of a note ask for: what was planned and must be heeded, and the author's earlier notes."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import connection

from clinic.enums import DocumentKind, DocumentState
from clinic.models import Document
from scheduling.models import Participation
from scheduling.rules.note_checks import Heeded, Planned
from scheduling.rules.notes import body_of

LOOKED_BACK = timedelta(days=180)
MOST_OF_THE_CHILD = 100
MOST_OF_ALL = 300
STANDING = (DocumentState.SIGNED.value, DocumentState.COSIGNED.value, DocumentState.RETURNED.value)


@dataclass(frozen=True)
class Ground:
    """What a note is held against when it is signed."""

    planned: list[Planned]
    capped: list[Planned]
    heeded: list[Heeded]


GROUND = """
SELECT (SELECT json_agg(json_build_array(g.id, g.number) ORDER BY g.number)
        FROM scheduling_plannedgoal p JOIN goals_goal g ON g.id = p.goal_id
        WHERE p.participation_id = %(part)s AND p.dropped_at IS NULL),
       (SELECT json_agg(json_build_array(g.id, g.number))
        FROM goals_goal g WHERE g.id = ANY(%(measured)s) AND EXISTS (
            SELECT 1 FROM goals_goalphase f JOIN goals_clause c ON c.phase_id = f.id
            WHERE f.goal_id = g.id AND f.starts_on <= %(day)s AND (f.ends_on IS NULL OR f.ends_on >= %(day)s)
              AND c.most_assistance IS NOT NULL)),
       (SELECT json_agg(json_build_array(c.id, c.refused, c.warned, c.created_at > %(began)s)
                        ORDER BY c.starts_on, c.id)
        FROM clinic_precaution c
        WHERE c.client_id = %(client)s AND c.starts_on <= %(day)s AND (c.lifted_on IS NULL OR c.lifted_on > %(day)s))"""


def ground_of(participation: Participation, *, measured: Iterable[UUID]) -> Ground:
    """One query: the goals planned, those measured whose criterion caps the help, the precautions of the day."""
    asked: dict[str, Any] = {
        "part": participation.pk,
        "client": participation.client_id,
        "day": participation.service_date,
        "began": participation.arrived_at or participation.starts_at,
        "measured": list(measured),
    }
    with connection.cursor() as cursor:
        cursor.execute(GROUND, asked)
        planned, capped, heeded = cursor.fetchone()
    return Ground(
        planned=[Planned(goal=UUID(goal), number=number) for goal, number in planned or ()],
        capped=[Planned(goal=UUID(goal), number=number) for goal, number in capped or ()],
        heeded=[
            Heeded(id=UUID(row), refused=refused, warned=warned, recorded_after=after)
            for row, refused, warned, after in heeded or ()
        ],
    )


@dataclass(frozen=True)
class EarlierNote:
    """A note as its author signed it before the one in question."""

    document: UUID
    service_date: date
    body: dict[str, Any]


def document_to_check(document_id: UUID) -> Document | None:
    """A document with the version that stands now."""
    rows = Document.objects.select_related("current_version").filter(current_version__isnull=False)
    return rows.filter(pk=document_id).first()


def earlier_notes(note: Document, *, signed_before: datetime) -> list[EarlierNote]:
    """The author's notes signed before in the last half year, the latest first: of this child, and of any other."""
    rows = (
        Document.objects.filter(
            author_id=note.author_id,
            kind=DocumentKind.VISIT_NOTE.value,
            state__in=STANDING,
            service_date__gte=note.service_date - LOOKED_BACK,
            current_version__frozen_at__lt=signed_before,
        )
        .exclude(pk=note.pk)
        .order_by("-current_version__frozen_at", "-pk")
        .values_list("current_version__frozen_at", "pk", "service_date", "current_version__content")
    )
    same = rows.filter(client_id=note.client_id)[:MOST_OF_THE_CHILD]
    others = rows.exclude(client_id=note.client_id)[:MOST_OF_ALL]
    latest_first = sorted([*same, *others], key=lambda row: row[:2], reverse=True)
    return [EarlierNote(pk, day, body_of(bytes(content))) for _, pk, day, content in latest_first]
