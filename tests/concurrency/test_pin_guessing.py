"""Guessing a signing PIN on many devices at once: no more than five guesses are compared before the lock."""

import pytest
import time_machine

from clinic.models import Signature, SigningPin
from clinic.services import pins
from tests import factories as make
from tests.concurrency.racing import at_once, statuses
from tests.scheduling.flow import signed_in

DAY = "2026-03-31"
DEVICES, GUESSES = 8, 3


@pytest.fixture
def note(flow):
    return flow.put(flow.visit(DAY), [], at=f"{DAY} 10:00")


@pytest.fixture
def compared(monkeypatch):
    """How often a guess was held against the hash."""
    seen: list[str] = []
    matches = pins._matches

    def counting(stored, pin):
        seen.append(pin)
        return matches(stored, pin)

    monkeypatch.setattr(pins, "_matches", counting)
    return seen


def guess(flow, note) -> list:
    """The answers to so many wrong guesses on each of so many devices."""

    def call(device: int):
        api = signed_in(flow.assistant)

        def guesses() -> list:
            found = []
            for number in range(GUESSES):
                headers = {"HTTP_IDEMPOTENCY_KEY": make.new_id(), "HTTP_IF_MATCH": '"1"'}
                body = {"pin": f"74{device}39{number}"}
                found.append(api.post(f"/api/v1/notes/{note}/sign/", body, format="json", **headers))
            return found

        return guesses

    with time_machine.travel(make.at(f"{DAY} 11:00"), tick=False):
        return [answer for found in at_once([call(device) for device in range(DEVICES)]) for answer in found]


def test_five_guesses_are_compared_and_no_more(flow, note, compared):
    """Five answers say wrong, all others locked; nothing is signed."""
    answers = guess(flow, note)
    assert statuses(answers) == [403] * 5 + [429] * (DEVICES * GUESSES - 5)
    assert len(compared) == 5
    assert SigningPin.objects.get(staff=flow.assistant).locked_until is not None
    assert not Signature.objects.exists()


def test_without_the_rows_lock_more_are_compared(flow, note, compared, monkeypatch):
    """The control: each device reads the misses before another has counted hers."""
    monkeypatch.setattr(SigningPin.objects, "select_for_update", lambda **how: SigningPin.objects.all())
    guess(flow, note)
    assert len(compared) > 5
