"""How far a device's clock is off, and what follows for the times that it told."""

from datetime import UTC, datetime, timedelta

import pytest

from clinic.rules.device_clock import offset, put_right, sentence

NOW = datetime(2026, 3, 31, 15, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("ahead", "found"),
    [
        pytest.param(timedelta(), timedelta(), id="right"),
        pytest.param(timedelta(minutes=5), timedelta(), id="within the tolerance"),
        pytest.param(timedelta(minutes=-5), timedelta(), id="within it, behind"),
        pytest.param(timedelta(minutes=5, seconds=1), timedelta(seconds=301), id="ahead"),
        pytest.param(timedelta(hours=-2, milliseconds=-400), timedelta(hours=-2), id="behind, in whole seconds"),
        pytest.param(timedelta(days=-20544), timedelta(days=-20544), id="a device that lost its battery"),
    ],
)
def test_offset(ahead, found):
    """Five minutes are no matter (RFC 4120, section 8.2, from memory); what is beyond is told in whole seconds."""
    assert offset(NOW + ahead, NOW) == found


def test_put_right():
    """A time told by a clock that runs ahead was earlier."""
    assert put_right(NOW + timedelta(hours=2), timedelta(hours=2)) == NOW
    assert put_right(NOW, timedelta(hours=-2)) == NOW + timedelta(hours=2)


@pytest.mark.parametrize(
    ("ahead", "length"),
    [
        (timedelta(minutes=6), "6 minutes ahead"),
        (timedelta(hours=1, minutes=1), "1 hour and 1 minute ahead"),
        (timedelta(hours=-2), "2 hours behind"),
        (timedelta(days=-1, hours=-3, minutes=-20), "1 day and 3 hours behind"),
    ],
)
def test_sentence(ahead, length):
    """It says how long, in two units at the most, and which way."""
    assert sentence(ahead) == f"the device's clock was {length} when this was recorded"
