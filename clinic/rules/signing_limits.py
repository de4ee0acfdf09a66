"""Until when a note is signed and co-signed in time, and what is said of one that is late."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FIRST_WEEKEND_DAY = 5
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Lateness:
    """How late a signature came, in local calendar days."""

    limit: date
    days_after_visit: int
    days_past_limit: int


def sign_limit(service_date: date, *, business_days: int, holidays: Collection[date] = ()) -> date:
    """The last timely day to sign: so many days after the visit that are neither weekend nor holiday."""
    if business_days < 0:
        raise ValueError("a limit of business days cannot be negative")
    day = service_date
    for _ in range(business_days):
        day += timedelta(days=1)
        while day.weekday() >= FIRST_WEEKEND_DAY or day in holidays:
            day += timedelta(days=1)
    return day


def hours_limit(since: datetime, *, hours: int) -> datetime:
    """The instant when so many hours have elapsed, whatever the clocks on the wall did meanwhile."""
    return _utc(since) + timedelta(hours=hours)


def days_limit(since: datetime, *, days: int, zone: ZoneInfo) -> date:
    """The last timely day: so many local calendar days after the day of that instant."""
    return _utc(since).astimezone(zone).date() + timedelta(days=days)


def end_of_local_day(day: date, *, zone: ZoneInfo) -> datetime:
    """The instant from which that local day is over, and what was due on it overdue."""
    return datetime.combine(day + timedelta(days=1), time.min, tzinfo=zone).astimezone(UTC)


def cosign_due_at(signed_at: datetime, *, days: int, zone: ZoneInfo) -> datetime:
    """The instant from which a signed version waits too long for its co-signature."""
    return end_of_local_day(days_limit(signed_at, days=days, zone=zone), zone=zone)


def turnaround_days(first_signed_at: datetime, decided_at: datetime, *, zone: ZoneInfo) -> int:
    """Local calendar days from the first signature to the verdict that ended the matter."""
    first, decided = (_utc(moment).astimezone(zone).date() for moment in (first_signed_at, decided_at))
    return (decided - first).days


def lateness(*, service_date: date, signed_on: date, limit: date) -> Lateness | None:
    """How late the signature came, or None when it came in time."""
    if signed_on <= limit:
        return None
    return Lateness(
        limit=limit,
        days_after_visit=(signed_on - service_date).days,
        days_past_limit=(signed_on - limit).days,
    )


def late_entry_sentence(late: Lateness) -> str:
    """The plain sentence that a late entry carries."""
    days = "day" if late.days_after_visit == 1 else "days"
    limit = f"{late.limit.day} {MONTHS[late.limit.month - 1]}"
    since_visit = f"{late.days_after_visit} {days} after the visit"
    return f"late entry, {since_visit}, {late.days_past_limit} past the limit ({limit})"


def _utc(moment: datetime) -> datetime:
    # Aware arithmetic inside one zone follows the wall clock; only in UTC do hours elapse.
    if moment.tzinfo is None:
        raise ValueError("an instant without an offset is not an instant")
    return moment.astimezone(UTC)
