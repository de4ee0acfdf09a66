"""Keeps facts and deadlines what the record says: computed from rows, so twice, late or out of order is the same."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection, transaction

from clinic.models import Episode
from clinic.selectors.actors import today_in
from scheduling.deadlines.clocks import Clocks, clocks
from scheduling.deadlines.facts import CODES, Facts
from scheduling.deadlines.states import expected, outcomes
from scheduling.enums import DeadlineOutcome, FactKind, Responsible
from scheduling.models import Deadline, DeadlineChange, Fact
from scheduling.selectors import clocks as selectors
from scheduling.selectors import deadlines
from scheduling.selectors import facts as record
from scheduling.selectors import responsible as owing
from scheduling.services import rule_packs

CHUNK = 500
LOCK = "SELECT pg_advisory_xact_lock(hashtextextended('clocks ' || id, 0)) FROM unnest(%s::text[]) AS id"
# What a projection may give anew; the rest of a deadline is its key.
COMPUTED = (
    "cycle",
    "starts_on",
    "counted",
    "target",
    "due_on",
    "expected_on",
    "outcome",
    "closed_on",
    "closed_by_id",
    "responsible_id",
)
Key = tuple[UUID, UUID, UUID]


def follow(episodes: Iterable[UUID], *, now: datetime) -> int:
    """Bring facts and deadlines of these episodes to what the record says; how many rows were written.

    The rules are those of the packs that are shipped: a new release's are written down before the first is followed.
    """
    rule_packs.load(packs=rule_packs.shipped(), now=now)
    wanted = sorted(set(episodes))
    return sum(_follow(wanted[start : start + CHUNK], now=now) for start in range(0, len(wanted), CHUNK))


def follow_document(document_id: UUID, *, now: datetime) -> int:
    """Follow the episode of a document that was signed, decided or taken back."""
    return follow(selectors.episodes_of_document(document_id), now=now)


def follow_visit(visit_id: UUID, *, now: datetime) -> int:
    """Follow the episodes of all who take part in a visit."""
    return follow(selectors.episodes_of_visit(visit_id), now=now)


def follow_school(site_id: UUID, *, now: datetime) -> int:
    """Follow the school episodes of a site whose calendar became another."""
    return follow(deadlines.school_episodes_at(site_id), now=now)


def follow_all(*, now: datetime) -> int:
    """The pass of the night: it finds nothing to correct unless a message was lost."""
    return follow(selectors.every_episode(), now=now)


@transaction.atomic
def _follow(ids: list[UUID], *, now: datetime) -> int:
    with connection.cursor() as cursor:
        cursor.execute(LOCK, [[str(one) for one in ids]])
    written = _follow_facts(ids, now=now)
    found = selectors.episodes_to_follow(ids)
    organizations = {episode.organization_id for episode in found}
    for organization in sorted(organizations):
        written += _project([one for one in found if one.organization_id == organization], now=now)
    return written


def _follow_facts(ids: Sequence[UUID], *, now: datetime) -> int:
    gone = record.said_no_more(ids)
    if gone:
        Fact.objects.filter(pk__in=gone).update(revoked_at=now)
    said = record.said_anew(ids)
    Fact.objects.bulk_create([Fact(**one._asdict(), recorded_at=now) for one in said])
    return len(gone) + len(said)


# --- Deadlines --------------------------------------------------------------------------------------


def _project(episodes: list[Episode], *, now: datetime) -> int:
    ids = [episode.pk for episode in episodes]
    wanted = dict(_computed(episodes, now=now))
    known = {(row.rule_id, row.subject_id, row.anchor_id): row for row in selectors.deadlines_of(ids)}
    fresh = [Deadline(**row, computed_at=now) for key, row in wanted.items() if key not in known]
    moved: list[tuple[Deadline, str]] = []
    for key, row in known.items():
        before = row.outcome, row.due_on
        if _take(row, wanted.get(key), now=now):
            moved.append((row, "" if before == (row.outcome, row.due_on) else before[0]))
    Deadline.objects.bulk_create(fresh)
    Deadline.objects.bulk_update(
        [row for row, _ in moved], [*(name.removesuffix("_id") for name in COMPUTED), "computed_at"]
    )
    DeadlineChange.objects.bulk_create(
        [_change(row, "", now) for row in fresh] + [_change(row, before, now) for row, before in moved if before]
    )
    return len(fresh) + len(moved)


def _take(row: Deadline, wanted: dict[str, Any] | None, *, now: datetime) -> bool:
    """Whether the row became another: what is computed now, or superseded where nothing is computed any more."""
    if wanted is None:
        wanted = {name: getattr(row, name) for name in COMPUTED}
        wanted |= {"outcome": DeadlineOutcome.SUPERSEDED.value, "closed_on": None, "closed_by_id": None}
    elif wanted["outcome"] != DeadlineOutcome.OPEN.value and row.responsible_id is not None:
        # Who owed it when it was answered stays written.
        wanted = {**wanted, "responsible_id": row.responsible_id}
    if all(getattr(row, name) == wanted[name] for name in COMPUTED):
        return False
    for name in COMPUTED:
        setattr(row, name, wanted[name])
    row.computed_at = now
    return True


def _change(row: Deadline, before: str, now: datetime) -> DeadlineChange:
    return DeadlineChange(
        organization_id=row.organization_id,
        deadline=row,
        from_outcome=before,
        to_outcome=row.outcome,
        due_on=row.due_on,
        at=now,
    )


def _computed(episodes: list[Episode], *, now: datetime) -> Iterator[tuple[Key, dict[str, Any]]]:
    """Each deadline that the rules give for these episodes of one organization, by its key."""
    by_id = {episode.pk: episode for episode in episodes}
    rows = selectors.facts_of(list(by_id))
    numbers = {subject: number for number, subject in enumerate(dict.fromkeys(row.subject_id for row in rows))}
    today = {episode.pk: today_in(episode.site.time_zone, now) for episode in episodes}
    booked = [(numbers[one], day) for one, day in selectors.booked_days(list(by_id)) if one in numbers]
    subjects = list(numbers)
    for kept in selectors.rules_for(episodes[0].organization):
        mine = [place for place, row in enumerate(rows) if by_id[row.episode_id].setting in kept.settings]
        found = clocks(kept.rule.rule, _columns(rows, mine, numbers))
        found = found.taken(_in_effect(kept, found))
        ends = _expected(found, booked, [today[rows[place].episode_id] for place in found.anchor])
        owed = _responsible(kept, found, rows, subjects, today)
        for number, values in enumerate(_values(found)):
            anchor = rows[values.pop("anchor")]
            subject, closed_by = subjects[values.pop("subject")], values.pop("closed_by")
            yield (
                (kept.row_id, subject, anchor.id),
                {
                    **values,
                    "organization_id": episodes[0].organization_id,
                    "rule_id": kept.row_id,
                    "episode_id": anchor.episode_id,
                    "client_id": by_id[anchor.episode_id].client_id,
                    "subject_kind": kept.rule.subject.value,
                    "subject_id": subject,
                    "anchor_id": anchor.id,
                    "closed_by_id": rows[closed_by].id if values["closed_on"] is not None else None,
                    "expected_on": ends[number],
                    "responsible_id": owed[number],
                },
            )


def _columns(rows: Sequence[selectors.FactRow], places: list[int], numbers: dict[UUID, int]) -> Facts:
    return Facts.of(
        [numbers[rows[place].subject_id] for place in places],
        [CODES[FactKind(rows[place].kind)] for place in places],
        [rows[place].occurred_on for place in places],
        covers=[rows[place].covers_until for place in places],
        row=places,
    )


def _in_effect(kept: selectors.KeptRule, found: Clocks) -> Any:
    since, until = kept.rule.effective_from, kept.rule.effective_until
    return (found.starts >= np.datetime64(since)) & (found.starts <= np.datetime64(until or date.max))


def _expected(found: Clocks, booked: list[tuple[int, date]], today: list[date]) -> list[date | None]:
    treated = CODES[FactKind.TREATMENT_DAY]
    days = Facts.of([one for one, _ in booked], [treated] * len(booked), [day for _, day in booked])
    return expected(found, days, np.asarray(today, dtype="datetime64[D]")).tolist()


def _values(found: Clocks) -> Iterator[dict[str, Any]]:
    columns = {
        "subject": found.subject,
        "anchor": found.anchor,
        "cycle": found.cycle,
        "starts_on": found.starts,
        "counted": found.counted,
        "target": found.target,
        "due_on": found.due,
        "outcome": outcomes(found),
        "closed_on": found.closed,
        "closed_by": found.closed_by,
    }
    for row in zip(*[column.tolist() for column in columns.values()], strict=True):
        yield dict(zip(columns, row, strict=True))


def _responsible(
    kept: selectors.KeptRule,
    found: Clocks,
    rows: Sequence[selectors.FactRow],
    subjects: list[UUID],
    today: dict[UUID, date],
) -> list[UUID | None]:
    about = [subjects[one] for one in found.subject]
    if kept.rule.responsible == Responsible.AUTHOR:
        names = owing.authors_of(about)
    elif kept.rule.responsible == Responsible.COSIGNER:
        names = owing.cosigners_of(about)
    else:
        about = [rows[place].episode_id for place in found.anchor]
        names = owing.therapists_of(about, day=max(today.values()))
    return [names.get(one) for one in about]
