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


def input_digest(goal: GoalSpec, phases: Iterable[Phase], observations: Iterable[Observation]) -> str:
    """SHA-256 of the engine's version, the goal, its phases and its observations, in canonical JSON."""
    resting_on = {
        "engine": ENGINE,
        "goal": as_json(goal),
        "phases": [as_json(phase) for phase in sorted(phases, key=lambda phase: phase.ordinal)],
        "observations": [as_json(seen) for seen in sorted(observations, key=observation_order)],
    }
    text = json.dumps(resting_on, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def observation_order(seen: Observation) -> tuple[date, float, str, int, str]:
    """The order of observations, whatever the order they were read in: by day, then by the hour if known."""
    hour = seen.started_at.timestamp() if seen.started_at else -math.inf
    return seen.day, hour, seen.visit, seen.slot, seen.id
