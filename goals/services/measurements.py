"""A note's measurements: judged while it is written, and made rows of when it is signed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic.errors import Conflict, DomainError, InvalidField
from clinic.models import Document, DocumentVersion, Episode
from goals.models import Goal, Measurement
from goals.progress.context import Context, read_context
from goals.progress.decimals import read_decimal
from goals.progress.definitions import Clause
from goals.progress.errors import ImpossibleMeasurement
from goals.progress.measures import derive
from goals.progress.results import Derived
from goals.progress.trials import read_count
from goals.selectors import measurements as selectors
from goals.selectors.definitions import primary_clauses, spec_of

MOST_MEASUREMENTS = 200
MOST_SLOTS = 100
MOST_ERRORS = 20
NUMBERS = ("trials", "tally", "successes", "value", "censored", "opportunities", "watched", "components")
NOT_FOUND = "There is no such goal of this child in this episode"


class AlreadyCorrected(Conflict):
    code = "already_corrected"
    title = "This measurement has been corrected already"


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """One measurement of a note, found possible: its goal, its place, its numbers, and what it corrects."""

    goal: Goal
    slot: int
    raw: Mapping[str, Any]
    context: Context
    derived: Derived
    replaced: Measurement | None = None

    @property
    def replaces_id(self) -> UUID | None:
        """The number as it was first recorded, to which all its corrections point."""
        return (self.replaced.replaces_id or self.replaced.pk) if self.replaced else None


class _Fault(Exception):
    def __init__(self, pointer: str, code: str, detail: str) -> None:
        super().__init__(detail)
        self.error = {"pointer": pointer, "code": code, "detail": detail}


def judge(
    *,
    actor_organization: UUID,
    episode: Episode,
    service_date: date,
    raws: Any,
    pointer: str = "/measurements",
    amends: Document | None = None,
) -> list[Judged]:
    """The measurements of a note about this episode; refuses with InvalidField what cannot be true.

    A goal of another child, another episode or another organization is refused as one that does not exist.
    """
    _require_list(raws, pointer)
    goals = _goals(actor_organization, episode, raws)
    clauses = primary_clauses(goals.values(), service_date) if goals else {}
    corrected = _corrected(amends, raws)
    found: list[Judged] = []
    faults: list[dict[str, str]] = []
    taken: set[tuple[UUID, int]] = set()
    for place, raw in enumerate(raws):
        try:
            each = _judged(raw, goals, clauses, corrected, taken)
            _require_replaced_once(each, found)
            found.append(each)
        except _Fault as fault:
            faults.append({**fault.error, "pointer": f"{pointer}/{place}{fault.error['pointer']}"})
    if faults:
        raise _refusal(faults[:MOST_ERRORS])
    return found


def _require_list(raws: Any, pointer: str) -> None:
    if not isinstance(raws, Sequence) or isinstance(raws, (str, bytes)):
        raise InvalidField(pointer, "Measurements are a list", code="wrong_type")
    if len(raws) > MOST_MEASUREMENTS:
        raise InvalidField(pointer, f"A note has at most {MOST_MEASUREMENTS} measurements", code="too_many")


def _refusal(faults: list[dict[str, str]]) -> DomainError:
    refusal = InvalidField(faults[0]["pointer"], faults[0]["detail"], code=faults[0]["code"])
    refusal.errors = faults
    return refusal


def _goals(organization_id: UUID, episode: Episode, raws: Sequence[Any]) -> dict[UUID, Goal]:
    named = {goal_id for raw in raws if isinstance(raw, Mapping) and (goal_id := _uuid(raw.get("goal")))}
    if not named:
        return {}
    return {goal.pk: goal for goal in selectors.measurable_goals(organization_id, episode.pk, named)}


def _corrected(amends: Document | None, raws: Sequence[Any]) -> dict[UUID, Measurement]:
    named = {row_id for raw in raws if isinstance(raw, Mapping) and (row_id := _uuid(raw.get("replaces")))}
    if amends is None or not named:
        return {}
    return {row.pk: row for row in selectors.counting_in(amends).filter(pk__in=named)}


def _uuid(text: Any) -> UUID | None:
    if not isinstance(text, str) or len(text) != 36:
        return None
    try:
        return UUID(text)
    except ValueError:
        return None


def _judged(
    raw: Any,
    goals: Mapping[UUID, Goal],
    clauses: Mapping[UUID, Clause],
    corrected: Mapping[UUID, Measurement],
    taken: set[tuple[UUID, int]],
) -> Judged:
    if not isinstance(raw, Mapping):
        raise _Fault("", "wrong_type", "A measurement is an object.")
    if "goal" not in raw:
        raise _Fault("/goal", "missing", "A measurement names its goal.")
    goal = goals.get(_uuid(raw["goal"]))  # type: ignore[arg-type]
    if goal is None:
        raise _Fault("/goal", "not_found", NOT_FOUND)
    numbers = {name: value for name, value in raw.items() if name != "replaces"}
    try:
        derived = derive(spec_of(goal), numbers, primary=clauses.get(goal.pk))
        context = read_context(numbers)
        slot = _slot(raw)
    except ImpossibleMeasurement as refusal:
        raise _Fault(refusal.pointer, refusal.code, refusal.detail) from None
    if (goal.pk, slot) in taken:
        raise _Fault("/slot", "doubled", "This goal and slot stand twice; give each measurement its slot.")
    taken.add((goal.pk, slot))
    replaced = _replaced(raw, goal, corrected)
    return Judged(goal=goal, slot=slot, raw=raw, context=context, derived=derived, replaced=replaced)


def _slot(raw: Mapping[str, Any]) -> int:
    slot = raw.get("slot", 1)
    if type(slot) is not int or not 1 <= slot <= MOST_SLOTS:
        raise ImpossibleMeasurement("out_of_range", pointer="/slot", detail=f"A slot is from 1 to {MOST_SLOTS}.")
    return slot


def _replaced(raw: Mapping[str, Any], goal: Goal, corrected: Mapping[UUID, Measurement]) -> Measurement | None:
    if "replaces" not in raw:
        return None
    row = corrected.get(_uuid(raw["replaces"]))  # type: ignore[arg-type]
    if row is None or row.goal_id != goal.pk:
        detail = "The amended document has no such measurement of this goal that counts"
        raise _Fault("/replaces", "not_found", detail)
    return row


def _require_replaced_once(each: Judged, found: Sequence[Judged]) -> None:
    if each.replaced is not None and each.replaced in [earlier.replaced for earlier in found]:
        raise _Fault("/replaces", "doubled", "This measurement is corrected twice here; a number has one correction.")


@transaction.atomic
def write(
    *,
    version: DocumentVersion,
    document: Document,
    judged: Sequence[Judged],
    site_id: UUID | None,
    recorded_at: datetime,
) -> list[Measurement]:
    """Add the rows of one signed version, in one statement; refuses to correct what was corrected meanwhile."""
    _require_uncorrected(document, judged)
    return Measurement.objects.bulk_create(
        _row(each, version=version, document=document, site_id=site_id, recorded_at=recorded_at) for each in judged
    )


def _require_uncorrected(document: Document, judged: Sequence[Judged]) -> None:
    replaced = {each.replaced.pk for each in judged if each.replaced is not None}
    if not replaced or document.amends_id is None:
        return
    # Two addenda that correct the same number are signed one after the other: the second finds the first.
    amended = Document.objects.select_for_update(of=("self",), no_key=True).get(pk=document.amends_id)
    still = selectors.counting_in(amended, correcting=document).filter(pk__in=replaced).count()
    if still != len(replaced):
        raise AlreadyCorrected


def _row(
    each: Judged, *, version: DocumentVersion, document: Document, site_id: UUID | None, recorded_at: datetime
) -> Measurement:
    derived, context, goal = each.derived, each.context, each.goal
    return Measurement(
        organization_id=document.organization_id,
        goal_id=goal.pk,
        episode_id=document.episode_id,
        client_id=document.client_id,
        measure=goal.measure,
        document=document,
        version=version,
        slot=each.slot,
        service_date=document.service_date,
        observed_from=context.observed_from,
        observed_until=context.observed_until,
        site_id=site_id,
        setting=context.setting,
        source=context.source.value,
        observer=context.observer,
        partner=context.partner,
        opportunities=_count(each.raw, "opportunities"),
        watched=read_decimal(each.raw.get("watched")),
        not_measured=derived.not_measured.value if derived.not_measured else None,
        trials={name: each.raw[name] for name in NUMBERS if name in each.raw},
        successes=derived.successes,
        counted=derived.counted,
        value=derived.value,
        censored=derived.censored.value if derived.censored else None,
        parts=derived.parts,
        replaces_id=each.replaces_id,
        recorded_at=recorded_at,
    )


def _count(raw: Mapping[str, Any], member: str) -> int | None:
    return read_count(raw[member], pointer=f"/{member}") if member in raw else None
