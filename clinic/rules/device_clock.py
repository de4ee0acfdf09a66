"""How far a device's clock is off when it sends, and what that means for the times that it observed."""

from datetime import datetime, timedelta

# The clock skew that RFC 4120 (section 8.2) recommends to accept between two machines; from memory.
TOLERANCE = timedelta(minutes=5)
RIGHT = timedelta()


def offset(device_time: datetime, now: datetime) -> timedelta:
    """By how much the device's clock is ahead, negative behind, in whole seconds; nothing within the tolerance."""
    ahead = timedelta(seconds=round((device_time - now).total_seconds()))
    return ahead if abs(ahead) > TOLERANCE else RIGHT


def put_right(observed: datetime, ahead: timedelta) -> datetime:
    """When it was, by a clock that is right."""
    return observed - ahead


def sentence(ahead: timedelta) -> str:
    """What a reader of times from this device should know."""
    way = "ahead" if ahead > RIGHT else "behind"
    return f"the device's clock was {_in_words(abs(ahead))} {way} when this was recorded"


def _in_words(length: timedelta) -> str:
    minutes = round(length.total_seconds() / 60)
    parts = ((length.days, "day"), (minutes % 1440 // 60, "hour"), (minutes % 60, "minute"))
    told = [f"{number} {unit}{'' if number == 1 else 's'}" for number, unit in parts if number]
    return " and ".join(told[:2])
