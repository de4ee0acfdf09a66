"""Whether a criterion is met: the visits held against the consistency, minimum data and generalization it asks for."""

from collections.abc import Sequence

from goals.enums import ConsistencyKind, CriterionState, MissingCode
from goals.progress.checks import Check, Standing, standing, too_few
from goals.progress.definitions import Criterion, GoalSpec
from goals.progress.pooling import pooled_standing
from goals.progress.results import CriterionFound, Missing
from goals.progress.words import plural


def judge(goal: GoalSpec, criterion: Criterion, checks: Sequence[Check]) -> CriterionFound:
    """The criterion's state after the last of these visits, and the day on which it was first met.

    The visits looked at are those with at least the minimum data. Of fewer visits than the window, the
    criterion is met as soon as enough satisfy it.
    """
    usable = [check for check in checks if check.qualifies]
    standings = [_standing(goal, criterion, usable[:count]) for count in range(1, len(usable) + 1)]
    now = standings[-1] if standings else _standing(goal, criterion, [])
    first = next((one for one in standings if _is_met(criterion, one)), None)
    return CriterionFound(
        state=_state(criterion, now),
        satisfied=now.satisfied,
        window=len(now.window),
        needed=now.needed,
        preliminary=any(check.visit.preliminary for check in now.window),
        first_met_on=first.window[-1].visit.day if first else None,
        sentence=_sentence(criterion, now),
        missing=now.missing,
    )


def no_criterion() -> CriterionFound:
    """The answer where a phase has no criterion."""
    missing = Missing(code=MissingCode.NO_CRITERION, sentence="this phase has no criterion")
    return CriterionFound(
        state=CriterionState.NOT_ENOUGH_DATA,
        satisfied=0,
        window=0,
        needed=0,
        preliminary=False,
        first_met_on=None,
        sentence="This phase has no criterion.",
        missing=missing,
    )


def _standing(goal: GoalSpec, criterion: Criterion, checks: Sequence[Check]) -> Standing:
    kind = criterion.consistency.kind
    if kind == ConsistencyKind.OF_LAST:
        return _of_last(criterion, checks)
    if kind == ConsistencyKind.IN_A_ROW:
        return _in_a_row(criterion, checks)
    return pooled_standing(goal, criterion, checks)


def _of_last(criterion: Criterion, checks: Sequence[Check]) -> Standing:
    needed = criterion.consistency.k
    window = tuple(checks[-(criterion.consistency.m or 1) :])
    good = [check for check in window if check.satisfied]
    return standing(
        window,
        good=good,
        satisfied=len(good),
        needed=needed,
        holds=len(good) >= needed,
        missing=_too_few_visits(needed, len(checks)),
    )


def _in_a_row(criterion: Criterion, checks: Sequence[Check]) -> Standing:
    """The last k visits; their settings and partners are those of the whole run they end."""
    needed = criterion.consistency.k
    window = tuple(checks[-needed:])
    run = _run(checks)
    return standing(
        window,
        good=run,
        satisfied=sum(check.satisfied for check in window),
        needed=needed,
        holds=len(run) >= needed,
        missing=_too_few_visits(needed, len(checks)),
    )


def _run(checks: Sequence[Check]) -> list[Check]:
    run: list[Check] = []
    for check in reversed(checks):
        if not check.satisfied:
            break
        run.append(check)
    return run


def _too_few_visits(needed: int, has: int) -> Missing | None:
    return too_few(needed, has, "visits with enough data") if has < needed else None


def _general_enough(criterion: Criterion, now: Standing) -> bool:
    wanted = criterion.generalization
    return (wanted.settings <= 1 or now.settings >= wanted.settings) and (
        wanted.partners <= 1 or now.partners >= wanted.partners
    )


def _is_met(criterion: Criterion, now: Standing) -> bool:
    return now.holds and _general_enough(criterion, now)


def _state(criterion: Criterion, now: Standing) -> CriterionState:
    if now.missing is not None:
        return CriterionState.NOT_ENOUGH_DATA
    return CriterionState.MET if _is_met(criterion, now) else CriterionState.NOT_MET


def _sentence(criterion: Criterion, now: Standing) -> str:
    if now.missing is not None:
        return f"Criterion: {now.missing.sentence}."
    return f"{_visits_words(criterion, now)}{_needed_words(criterion, now)}{_general_words(criterion, now)}."


def _visits_words(criterion: Criterion, now: Standing) -> str:
    many = len(criterion.clauses) > 1
    if criterion.consistency.kind in (ConsistencyKind.POOLED_VISITS, ConsistencyKind.POOLED_DAYS):
        verb = "meet" if now.holds else "do not meet"
        return f"{_pool_words(criterion, now)} taken together {verb} {'all parts' if many else 'the criterion'}"
    asked = "all parts" if many else "what is asked"
    if now.needed == 1 and len(now.window) == 1:
        return f"The last visit {'meets' if now.satisfied else 'does not meet'} {asked}"
    verb = "meets" if now.satisfied == 1 else "meet"
    return f"{now.satisfied} of the last {plural(len(now.window), 'visit')} {verb} {asked}"


def _pool_words(criterion: Criterion, now: Standing) -> str:
    if criterion.consistency.kind == ConsistencyKind.POOLED_VISITS:
        return f"The last {plural(len(now.window), 'visit')}"
    return f"The {plural(len(now.window), 'visit')} of the last {plural(criterion.consistency.days or 1, 'day')}"


def _needed_words(criterion: Criterion, now: Standing) -> str:
    kind = criterion.consistency.kind
    if kind not in (ConsistencyKind.OF_LAST, ConsistencyKind.IN_A_ROW) or now.needed == len(now.window) == 1:
        return ""
    row = " in a row" if kind == ConsistencyKind.IN_A_ROW and now.needed > 1 else ""
    return f"; {now.needed}{row} {'is' if now.needed == 1 else 'are'} needed"


def _general_words(criterion: Criterion, now: Standing) -> str:
    wanted = criterion.generalization
    said = []
    if now.holds and wanted.settings > 1:
        said.append(f"in {plural(now.settings, 'setting')} of {wanted.settings} needed")
    if now.holds and wanted.partners > 1:
        said.append(f"with {plural(now.partners, 'partner')} of {wanted.partners} needed")
    return f", {' and '.join(said)}" if said else ""
