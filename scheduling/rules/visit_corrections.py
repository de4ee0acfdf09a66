"""The times of a visit that took place, put right: what that makes of each child's own times."""

from dataclasses import dataclass
from datetime import datetime

from scheduling.rules.visits import service_date_of


@dataclass(frozen=True)
class Span:
    """From a moment to a later one."""

    starts_at: datetime
    ends_at: datetime


def part_put_right(part: Span, *, was: Span, becomes: Span) -> Span:
    """A child's own times in a visit whose times are put right: she is there as long, as late after its beginning.

    Where she was there from the beginning, or to the end, she is; never longer than the visit is.
    """
    shift = becomes.starts_at - was.starts_at
    starts = becomes.starts_at if part.starts_at == was.starts_at else part.starts_at + shift
    ends = becomes.ends_at if part.ends_at == was.ends_at else min(part.ends_at + shift, becomes.ends_at)
    return Span(starts, ends) if starts < ends else becomes


def seen_put_right(
    seen: datetime | None, *, was: Span, becomes: Span, time_zone: str, now: datetime
) -> datetime | None:
    """When a child came or left: as it was noted if that was on the right day, else as late after the beginning."""
    if seen is None or service_date_of(seen, time_zone) == service_date_of(becomes.starts_at, time_zone):
        return seen
    return min(seen + (becomes.starts_at - was.starts_at), now)
