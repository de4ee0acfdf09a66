"""When a browser's session ends: a while after it was last used, and a day's work after it began."""

from datetime import datetime, timedelta

# How much of the idle time may pass before the end is written anew: not every request writes.
WRITTEN_EVERY = timedelta(minutes=1)


def ends_at(*, begun_at: datetime, now: datetime, idle: timedelta, longest: timedelta) -> datetime:
    """The end of a session that is used now."""
    return min(now + idle, begun_at + longest)


def is_due(*, written: datetime, wanted: datetime) -> bool:
    """Whether the end is worth writing anew."""
    return wanted - written >= WRITTEN_EVERY
