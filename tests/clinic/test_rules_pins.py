"""What a signing PIN may look like, and when misses lock it."""

from datetime import UTC, datetime, timedelta

import pytest

from clinic.rules.pins import MissOutcome, PinFault, after_miss, is_locked, pin_fault

NOW = datetime(2026, 3, 3, 15, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("pin", "fault"),
    [
        pytest.param("482915", None, id="six-digits"),
        pytest.param("482915730164", None, id="twelve-digits"),
        pytest.param("048291", None, id="leading-zero"),
        pytest.param("48291", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="five"),
        pytest.param("4829157301642", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="thirteen"),
        pytest.param("", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="empty"),
        pytest.param("48291a", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="letter"),
        pytest.param("482 915", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="space"),
        pytest.param("482915\n", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="line-end"),
        pytest.param("\u0664\u0668\u0662\u0669\u0661\u0665", PinFault.NOT_SIX_TO_TWELVE_DIGITS, id="other-digits"),
        pytest.param("777777", PinFault.ONE_DIGIT_REPEATED, id="repeated"),
        pytest.param("123456", PinFault.RUN_OF_DIGITS, id="up"),
        pytest.param("987654", PinFault.RUN_OF_DIGITS, id="down"),
        pytest.param("678901", PinFault.RUN_OF_DIGITS, id="up-over-zero"),
        pytest.param("210987", PinFault.RUN_OF_DIGITS, id="down-over-zero"),
        pytest.param("123457", None, id="nearly-a-run"),
    ],
)
def test_pin_fault(pin, fault):
    """Six to twelve plain digits, neither all alike nor a run."""
    assert pin_fault(pin) == fault


def test_five_misses_lock_for_fifteen_minutes():
    """Four misses are counted, the fifth locks, and after the lock counting starts anew."""
    outcomes = [after_miss(misses, now=NOW) for misses in range(5)]
    assert outcomes == [
        MissOutcome(1, None),
        MissOutcome(2, None),
        MissOutcome(3, None),
        MissOutcome(4, None),
        MissOutcome(0, NOW + timedelta(minutes=15)),
    ]


@pytest.mark.parametrize(
    ("locked_until", "locked"),
    [
        pytest.param(None, False, id="never"),
        pytest.param(NOW + timedelta(microseconds=1), True, id="still"),
        pytest.param(NOW, False, id="just-over"),
        pytest.param(NOW - timedelta(days=1), False, id="long-over"),
    ],
)
def test_is_locked(locked_until, locked):
    """A lock holds until its instant and not at it."""
    assert is_locked(locked_until, now=NOW) is locked
