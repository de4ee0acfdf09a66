"""Where a measurement comes from: source, observer, setting, partner and the time it covers."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from goals.enums import MeasurementSource
from goals.progress.limits import MOST_NAME
from goals.progress.trials import read_instant, read_word, refused

CONTEXT_MEMBERS = frozenset(
    {"goal", "slot", "source", "observer", "setting", "partner", "observed_from", "observed_until"}
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Context:
    """What stands beside a measurement's numbers."""

    source: MeasurementSource = MeasurementSource.CLINICIAN
    observer: str = ""
    setting: str = ""
    partner: str = ""
    observed_from: datetime | None = None
    observed_until: datetime | None = None


def read_context(raw: Mapping[str, Any]) -> Context:
    """The context of one measurement as a client sent it; refuses with ImpossibleMeasurement."""
    started = _read_time(raw, "observed_from")
    ended = _read_time(raw, "observed_until")
    if started and ended and ended < started:
        raise refused("ends_before_start", "/observed_until", "What was observed ends after it starts.")
    return Context(
        source=read_word(MeasurementSource, raw, "source", pointer="") or MeasurementSource.CLINICIAN,
        observer=_read_text(raw, "observer"),
        setting=_read_text(raw, "setting"),
        partner=_read_text(raw, "partner"),
        observed_from=started,
        observed_until=ended,
    )


def _read_time(raw: Mapping[str, Any], member: str) -> datetime | None:
    return read_instant(raw[member], pointer=f"/{member}") if member in raw else None


def _read_text(raw: Mapping[str, Any], member: str) -> str:
    text = raw.get(member, "")
    if not isinstance(text, str) or len(text) > MOST_NAME or not text.isprintable():
        raise refused("not_a_name", f"/{member}", f"This is at most {MOST_NAME} printable characters.")
    return text
