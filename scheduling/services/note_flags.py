"""What is flagged in the moment of signing: all that is cheap to find."""

from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from clinic.errors import Conflict
from clinic.models import Document
from clinic.rules.access import Actor
from clinic.rules.flags import Flag
from clinic.rules.signing_limits import sign_limit
from clinic.selectors.cosigning import Supervised, supervision_of
from clinic.services.documents import NotHers
from scheduling.enums import VisitKind, VisitStatus
from scheduling.models import Participation
from scheduling.rules import note_checks as rules
from scheduling.rules.visits import NOT_COMING, THERAPISTS_ONLY
from scheduling.selectors.note_checks import ground_of
from scheduling.selectors.notes import part_documented


def flags_if_signed_now(*, actor: Actor, note: Document, now: datetime) -> list[Flag]:
    """What would be flagged at signing, told to the author while she can still put it right; nothing is written."""
    if note.author_id != actor.staff_id:
        raise NotHers
    if note.draft is None:
        raise Conflict("There is nothing new to sign: put the revised document first", code="nothing_to_sign")
    supervised = supervision_of(note.author_id, note.episode, today=actor.today) if note.requires_cosignature else None
    participation = part_documented(note)
    return flags_at_signing(note, participation, note.draft, supervised, now, left_by=end_of(participation, now))


def end_of(participation: Participation, now: datetime) -> datetime | None:
    """When the child left; where nobody has said so yet, it was by now."""
    return participation.left_at if participation.status == VisitStatus.FULFILLED.value else now


def flags_at_signing(
    note: Document,
    participation: Participation,
    body: dict[str, Any],
    supervised: Supervised | None,
    now: datetime,
    *,
    left_by: datetime | None,
) -> list[Flag]:
    """Every flag of a note that is about to be signed."""
    return [
        *_of_the_day(note, participation, supervised),
        *_late(note, participation, now),
        *_moved(note),
        *rules.device_clock_off(participation.device_offset_seconds or 0),
        *_of_the_content(participation, body, left_by),
    ]


def _of_the_day(note: Document, participation: Participation, supervised: Supervised | None) -> list[Flag]:
    found: list[Flag] = []
    if supervised is not None and not supervised.in_force(note.service_date):
        found.append(rules.no_supervision(note.service_date))
    if supervised is not None and participation.visit.kind in THERAPISTS_ONLY:
        found.append(rules.evaluation_by_assistant(participation.visit.kind))
    if _group_of_one(participation):
        found.append(rules.group_of_one())
    return found


def _group_of_one(participation: Participation) -> bool:
    if participation.visit.kind != VisitKind.GROUP.value:
        return False
    gone = [status.value for status in NOT_COMING]
    return participation.visit.participations.exclude(status__in=gone).count() == 1


def _late(note: Document, participation: Participation, now: datetime) -> list[Flag]:
    """By the first signature, in the site's zone."""
    if note.current_version_id is not None:
        return []
    limit = sign_limit(note.service_date, business_days=note.organization.sign_within_business_days)
    signed_on = now.astimezone(ZoneInfo(participation.visit.site.time_zone)).date()
    return rules.late_entry(service_date=note.service_date, signed_on=signed_on, limit=limit)


def _moved(note: Document) -> list[Flag]:
    moved_from = note.participation_note.moved_from
    return [rules.moved_here(moved_from.at)] if moved_from else []


def _of_the_content(participation: Participation, body: dict[str, Any], left_by: datetime | None) -> list[Flag]:
    measurements, activities = body.get("measurements", []), body.get("activities", [])
    ground = ground_of(participation, measured={UUID(raw["goal"]) for raw in measurements})
    said = participation.minutes if participation.minutes is not None else body.get("minutes")
    attended = rules.Attended(arrived_at=participation.arrived_at, left_at=left_by, minutes=said)
    return [
        *rules.precautions_crossed(activities, ground.heeded),
        *rules.unmeasured_goals(ground.planned, measurements),
        *rules.assistance_missing(ground.capped, measurements),
        *rules.minutes_disagreeing(body.get("minutes"), attended, activities),
    ]
