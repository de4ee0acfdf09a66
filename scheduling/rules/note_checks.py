"""What a note is checked for when it is signed: each check is computed from plain values, and says so in a sentence.

A flag never refuses anything: it tells whoever co-signs where to look first.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from clinic.enums import FlagSeverity
from clinic.rules.device_clock import sentence as device_clock_sentence
from clinic.rules.flags import Flag
from clinic.rules.signing_limits import MONTHS, late_entry_sentence, lateness
from goals.enums import AssistanceLevel
from scheduling.rules.similarity import words_in
from scheduling.rules.visits import minutes_between

MINUTES_LEEWAY = 5
ASSISTANCE_LEVELS = frozenset(AssistanceLevel)


@dataclass(frozen=True, kw_only=True, slots=True)
class Planned:
    """A goal that was planned for the visit, by its number in the episode."""

    goal: UUID
    number: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Heeded:
    """A precaution that held on the day: what it refuses, what it warns of, and whether the author could know it."""

    id: UUID
    refused: Collection[str]
    warned: Collection[str]
    recorded_after: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Attended:
    """What the visit says of the child's time."""

    arrived_at: datetime | None
    left_at: datetime | None
    minutes: int | None


def unmeasured_goals(planned: Iterable[Planned], measurements: Iterable[Mapping[str, Any]]) -> list[Flag]:
    """Goals planned for the visit that the note neither measures nor gives a reason for."""
    named = {str(raw.get("goal")) for raw in measurements}
    return [
        Flag(
            "planned_goal_not_measured",
            FlagSeverity.WARNING,
            {"goal": str(goal.goal), "number": goal.number},
            subject=str(goal.goal),
            sentence=f"goal {goal.number} was planned, and was neither measured nor given a reason",
        )
        for goal in planned
        if str(goal.goal) not in named
    ]


def minutes_disagreeing(told: int | None, attended: Attended, activities: Sequence[Mapping[str, Any]]) -> list[Flag]:
    """A note's minutes that cannot be true of the time from check-in to end, or of its own activities."""
    found: list[Flag] = []
    if told is None:
        return found
    if attended.arrived_at is not None and attended.left_at is not None:
        found += _against_attendance(told, attended, minutes_between(attended.arrived_at, attended.left_at))
    listed = sum(activity.get("minutes", 0) for activity in activities)
    if listed > told:
        facts = {"note": told, "activities": listed}
        sentence = f"the activities take {listed} minutes, and the note says {told} in all"
        found.append(Flag("minutes_disagree", FlagSeverity.WARNING, facts, subject="activities", sentence=sentence))
    return found


def _against_attendance(told: int, attended: Attended, elapsed: int) -> list[Flag]:
    """More than elapsed cannot be; fewer may be, within a leeway or where the end of the visit says them too."""
    facts = {"note": told, "check_in_to_end": elapsed, "visit": attended.minutes}
    sentence = f"the note says {told} minutes, and {elapsed} passed from check-in to end"
    if told > elapsed:
        return [Flag("minutes_disagree", FlagSeverity.WARNING, facts, sentence=sentence)]
    if told < elapsed - MINUTES_LEEWAY and told != attended.minutes:
        return [Flag("minutes_disagree", FlagSeverity.NOTICE, facts, sentence=sentence)]
    return []


def assistance_missing(capped: Iterable[Planned], measurements: Iterable[Mapping[str, Any]]) -> list[Flag]:
    """Measurements that leave out the level of assistance where the goal's criterion asks for one.

    Help that nobody wrote down counts as none, so such a number may look better than it was.
    """
    numbers = {str(goal.goal): goal.number for goal in capped}
    silent = {str(raw["goal"]) for raw in measurements if str(raw.get("goal")) in numbers and _says_no_level(raw)}
    return [
        Flag(
            "assistance_missing",
            FlagSeverity.WARNING,
            {"goal": goal, "number": numbers[goal]},
            subject=goal,
            sentence=f"goal {numbers[goal]} asks for a level of assistance, and trials are without one",
        )
        for goal in sorted(silent, key=numbers.__getitem__)
    ]


def _says_no_level(raw: Mapping[str, Any]) -> bool:
    if "not_measured" in raw:
        return False
    if "trials" in raw:
        return any("assistance" not in trial for trial in raw["trials"])
    return not (set(raw.get("tally", ())) and set(raw["tally"]) <= ASSISTANCE_LEVELS)


def precautions_crossed(activities: Sequence[Mapping[str, Any]], heeded: Iterable[Heeded]) -> list[Flag]:
    """Activities that have a property which a precaution refuses or warns of, told or named by its words."""
    return [
        flag
        for precaution in heeded
        for place, activity in enumerate(activities)
        if (flag := _crossed(place, activity, precaution))
    ]


def _crossed(place: int, activity: Mapping[str, Any], precaution: Heeded) -> Flag | None:
    refused, warned = (_met(activity, named) for named in (precaution.refused, precaution.warned))
    if not refused and not warned:
        return None
    met = ", ".join(name.replace("_", " ") for name in refused or warned)
    told = "crosses a precaution" if refused else "is to be done only with care"
    later = " (recorded after the visit)" if precaution.recorded_after else ""
    return Flag(
        "precaution_crossed",
        FlagSeverity.WARNING if refused else FlagSeverity.NOTICE,
        {
            "precaution": str(precaution.id),
            "activity": place,
            "refused": refused,
            "warned": warned,
            "recorded_after_the_visit": precaution.recorded_after,
        },
        subject=f"{precaution.id} {place}",
        sentence=f"\u201c{activity['name']}\u201d {told}: {met}{later}",
    )


def _met(activity: Mapping[str, Any], properties: Collection[str]) -> list[str]:
    named = {word.text for word in words_in(activity["name"])}
    told = set(activity.get("properties", ()))
    return sorted(name for name in properties if name in told or set(name.split("_")) <= named)


def late_entry(*, service_date: date, signed_on: date, limit: date) -> list[Flag]:
    """Documentation later than the organization's limit."""
    late = lateness(service_date=service_date, signed_on=signed_on, limit=limit)
    if late is None:
        return []
    facts = {
        "limit": late.limit.isoformat(),
        "days_after_visit": late.days_after_visit,
        "days_past_limit": late.days_past_limit,
    }
    return [Flag("late_entry", FlagSeverity.NOTICE, facts, sentence=late_entry_sentence(late))]


def device_clock_off(seconds: int) -> list[Flag]:
    """The clock of the device that said when was so many seconds ahead (or behind), and its times were put right."""
    if not seconds:
        return []
    sentence = device_clock_sentence(timedelta(seconds=seconds))
    return [Flag("device_clock_off", FlagSeverity.NOTICE, {"seconds": seconds}, sentence=sentence)]


def no_supervision(service_date: date) -> Flag:
    """Nobody supervised the assistant on the day of the visit."""
    day = f"{service_date.day} {MONTHS[service_date.month - 1]}"
    facts = {"service_date": service_date.isoformat()}
    return Flag("no_supervision_on_day", FlagSeverity.WARNING, facts, sentence=f"nobody supervised the author on {day}")


def evaluation_by_assistant(kind: str) -> Flag:
    """An assistant documents what is a therapist's to do."""
    sentence = f"an assistant documents a {kind.replace('_', '-')}, which is a therapist's"
    return Flag("evaluation_by_assistant", FlagSeverity.WARNING, {"kind": kind}, sentence=sentence)


def moved_here(at: datetime) -> Flag:
    """A note that was first written where it did not belong is a late entry, however soon it is signed here."""
    sentence = "late entry: first written where it did not belong, and moved here"
    return Flag("moved_here", FlagSeverity.NOTICE, {"moved_at": at.isoformat(timespec="seconds")}, sentence=sentence)


def group_of_one() -> Flag:
    """A group visit to which one child came."""
    sentence = "only one child came to this group: record it as individual"
    return Flag("group_of_one", FlagSeverity.WARNING, {"advice": "record as individual"}, sentence=sentence)
