"""A digest of exactly what findings rest on, so that unchanged input is not computed again."""

import hashlib
import json
import math
from collections.abc import Iterable
from datetime import date

from goals.progress.canonical import as_json
from goals.progress.definitions import GoalSpec, Phase
from goals.progress.results import Observation

ENGINE = "1"
"""Version of the rules; a new one makes every digest new, so that everything is computed again."""


def input_digest(
    goal: GoalSpec,
    phases: Iterable[Phase],
    observations: Iterable[Observation],
    *,
    as_of: date | None = None,
) -> str:
    """SHA-256 of the engine's version, the goal, its phases and its observations, in canonical JSON.

    Only phases begun and observations made by `as_of` are in it, so that a day passing changes nothing.
    """
    begun, seen_by_then = known_by(as_of, phases, observations)
    resting_on = {
        "engine": ENGINE,
        "goal": as_json(goal),
        "phases": [as_json(phase) for phase in begun],
        "observations": [as_json(seen) for seen in seen_by_then],
    }
    text = json.dumps(resting_on, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def known_by(
    day: date | None, phases: Iterable[Phase], observations: Iterable[Observation]
) -> tuple[list[Phase], list[Observation]]:
    """Phases begun and observations made by a day, in order; all of them when no day is given."""
    begun = [phase for phase in phases if day is None or phase.starts_on <= day]
    seen_by_then = [seen for seen in observations if day is None or seen.day <= day]
    return sorted(begun, key=lambda phase: phase.ordinal), sorted(seen_by_then, key=observation_order)


def observation_order(seen: Observation) -> tuple[date, float, str, int, str]:
    """The order of observations, whatever the order they were read in: by day, then by the hour if known."""
    hour = seen.started_at.timestamp() if seen.started_at else -math.inf
    return seen.day, hour, seen.visit, seen.slot, seen.id
