"""An episode's steps from referral to discharge, and the law under which its record is kept."""

from collections.abc import Iterable
from datetime import date
from enum import StrEnum
from typing import NamedTuple

from clinic.enums import EpisodeStatus, RecordRegime, Setting


class EpisodeAct(StrEnum):
    """What people do to an episode as a whole."""

    OPEN = "open"
    HOLD = "hold"
    RESUME = "resume"
    DISCHARGE = "discharge"
    CANCEL = "cancel"


class DayRefusal(StrEnum):
    """Why a step may not take effect on a day."""

    IN_THE_FUTURE = "in_the_future"
    BEFORE_LAST_CHANGE = "before_last_change"


class Step(NamedTuple):
    """One recorded change of status."""

    to_status: EpisodeStatus
    effective_on: date


S = EpisodeStatus
STEPS: dict[EpisodeAct, tuple[frozenset[EpisodeStatus], EpisodeStatus]] = {
    EpisodeAct.OPEN: (frozenset({S.PLANNED}), S.ACTIVE),
    EpisodeAct.HOLD: (frozenset({S.ACTIVE}), S.ON_HOLD),
    EpisodeAct.RESUME: (frozenset({S.ON_HOLD}), S.ACTIVE),
    EpisodeAct.DISCHARGE: (frozenset({S.ACTIVE, S.ON_HOLD}), S.FINISHED),
    EpisodeAct.CANCEL: (frozenset({S.PLANNED}), S.CANCELLED),
}


def allowed_acts(status: EpisodeStatus) -> tuple[EpisodeAct, ...]:
    """What may be done to an episode in this status."""
    return tuple(act for act, (before, _) in STEPS.items() if status in before)


def status_after(status: EpisodeStatus, act: EpisodeAct) -> EpisodeStatus | None:
    """The status that the act leads to, or None when it is not allowed now."""
    before, after = STEPS[act]
    return after if status in before else None


def day_refusal(on: date, *, today: date, last_change_on: date | None) -> DayRefusal | None:
    """Why a step may not take effect on that day, or None: it is recorded once it is true, and after the one before."""
    if on > today:
        return DayRefusal.IN_THE_FUTURE
    if last_change_on is not None and on < last_change_on:
        return DayRefusal.BEFORE_LAST_CHANGE
    return None


def status_on(day: date, steps: Iterable[Step]) -> EpisodeStatus | None:
    """The status on a past day, from its steps in the order in which they were recorded."""
    found = None
    for step in steps:
        if step.effective_on <= day:
            found = step.to_status
    return found


def record_regime_of(setting: Setting) -> RecordRegime:
    """A school keeps an education record; every other setting a health record."""
    return RecordRegime.EDUCATION if setting == Setting.SCHOOL else RecordRegime.HEALTH
