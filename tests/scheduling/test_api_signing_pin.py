"""The signing PIN at the doors where it is asked: misses, the lock, and whose it is."""

from datetime import timedelta

import pytest
import time_machine

from clinic.models import Signature, SigningPin
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import PIN, Flow, give_pin, signed_in

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
TEN = f"{DAY} 10:00"
WRONG = "740391"
PASSWORD = "a long phrase of her own"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def note(flow):
    return flow.put(flow.visit(DAY), [], at=TEN)


def sign(flow, note, pin, *, at):
    moment = make.at(at) if isinstance(at, str) else at
    headers = {"HTTP_IDEMPOTENCY_KEY": make.new_id(), "HTTP_IF_MATCH": '"1"'}
    with time_machine.travel(moment, tick=False):
        return flow.ana.post(f"/api/v1/notes/{note}/sign/", {"pin": pin}, format="json", **headers)


def pin_of(flow) -> SigningPin:
    return SigningPin.objects.get(staff=flow.assistant)


def test_a_wrong_pin_signs_nothing(flow, note):
    """403 and a miss that is counted; the right one then signs and forgets the misses."""
    answer = sign(flow, note, WRONG, at=f"{DAY} 10:01")
    assert (answer.status_code, answer.json()["code"]) == (403, "wrong_pin")
    assert (pin_of(flow).misses, Signature.objects.count()) == (1, 0)
    assert sign(flow, note, PIN, at=f"{DAY} 10:02").status_code == 200
    assert pin_of(flow).misses == 0


def test_five_misses_lock_for_fifteen_minutes(flow, note):
    """From the fifth on even the right PIN answers 429 and when to come again; at 15 minutes it signs."""
    fifth = make.at(f"{DAY} 10:01")
    for _ in range(5):
        assert sign(flow, note, WRONG, at=fifth).status_code == 403
    locked = sign(flow, note, PIN, at=fifth + timedelta(seconds=30))
    assert (locked.status_code, locked.json()["code"], locked["Retry-After"]) == (429, "pin_locked", "870")
    last = sign(flow, note, PIN, at=fifth + timedelta(minutes=15) - timedelta(microseconds=1))
    assert (last.status_code, last["Retry-After"]) == (429, "1")
    assert Signature.objects.count() == 0
    assert sign(flow, note, PIN, at=fifth + timedelta(minutes=15)).status_code == 200


def test_a_lock_is_not_prolonged_by_trying(flow, note):
    """While it is locked nothing is compared and nothing is counted."""
    fifth = make.at(f"{DAY} 10:01")
    for _ in range(5):
        sign(flow, note, WRONG, at=fifth)
    before = pin_of(flow).locked_until
    for minute in range(1, 15):
        assert sign(flow, note, WRONG, at=fifth + timedelta(minutes=minute)).status_code == 429
    assert pin_of(flow).locked_until == before


def test_after_a_lock_five_more_misses_lock_again(flow, note):
    """Counting starts anew."""
    fifth = make.at(f"{DAY} 10:01")
    for _ in range(5):
        sign(flow, note, WRONG, at=fifth)
    later = fifth + timedelta(minutes=16)
    for _ in range(4):
        assert sign(flow, note, WRONG, at=later).status_code == 403
    assert pin_of(flow).misses == 4
    assert sign(flow, note, WRONG, at=later).status_code == 403
    assert sign(flow, note, PIN, at=later).status_code == 429


def test_one_persons_misses_lock_nobody_else(flow, note):
    """Ana is locked; Ruth returns Ana's earlier note with her own PIN."""
    other = flow.put(flow.visit(DAY, start="08:00"), [], at=TEN)
    digest = flow.sign(other, at=TEN).json()["current"]["digest"]
    for _ in range(5):
        sign(flow, note, WRONG, at=f"{DAY} 10:01")
    assert flow.send_back(other, digest=digest, reason="Which cues?", at=f"{DAY} 10:02").status_code == 200


def test_who_has_set_no_pin_is_told_so(flow, note):
    """409, and no miss is counted."""
    SigningPin.objects.filter(staff=flow.assistant).delete()
    for _ in range(6):
        answer = sign(flow, note, PIN, at=f"{DAY} 10:01")
        assert (answer.status_code, answer.json()["code"]) == (409, "no_signing_pin")
    assert Signature.objects.count() == 0


def test_anothers_pin_is_a_wrong_pin(flow, note):
    """Ruth's PIN under Ana's session is a miss of Ana's."""
    give_pin(flow.supervisor, "918273")
    assert sign(flow, note, "918273", at=f"{DAY} 10:01").json()["code"] == "wrong_pin"
    assert (pin_of(flow).misses, SigningPin.objects.get(staff=flow.supervisor).misses) == (1, 0)


@pytest.mark.parametrize(
    "body",
    [
        pytest.param({}, id="none"),
        pytest.param({"pin": ""}, id="empty"),
        pytest.param({"pin": 580213}, id="a number"),
        pytest.param({"pin": "58021x"}, id="a letter"),
        pytest.param({"pin": "٥٨٠٢١٣"}, id="digits of another script"),
        pytest.param({"pin": "5" * 21}, id="too long"),
        pytest.param({"pin": None}, id="null"),
        pytest.param({"pin": PIN, "force": True}, id="unknown member"),
    ],
)
def test_what_is_no_pin_is_no_miss(flow, note, body):
    """400 before anything is compared."""
    headers = {"HTTP_IDEMPOTENCY_KEY": make.new_id(), "HTTP_IF_MATCH": '"1"'}
    with time_machine.travel(make.at(TEN), tick=False):
        answer = flow.ana.post(f"/api/v1/notes/{note}/sign/", body, format="json", **headers)
    assert answer.status_code == 400
    assert (pin_of(flow).misses, Signature.objects.count()) == (0, 0)


# --- Setting it -------------------------------------------------------------------------------------------


def set_pin(flow, pin, *, password=PASSWORD, at=f"{DAY} 09:00"):
    body = {"password": password, "current_pin": PIN, "pin": pin}
    with time_machine.travel(make.at(at), tick=False):
        return flow.ana.post("/api/v1/me/pin/", body, format="json")


@pytest.fixture
def with_password(flow):
    flow.assistant.user.set_password(PASSWORD)
    flow.assistant.user.save()
    flow.ana = signed_in(flow.assistant)


def test_she_sets_her_own_pin(flow, note, with_password):
    """The account's password says that it is she; from then on the new one signs, and the old one is a miss."""
    assert set_pin(flow, "271828").status_code == 204
    assert sign(flow, note, PIN, at=f"{DAY} 10:01").status_code == 403
    assert sign(flow, note, "271828", at=f"{DAY} 10:02").status_code == 200


@pytest.mark.parametrize(
    ("pin", "code"),
    [
        pytest.param("12345", "not_six_to_twelve_digits", id="five digits"),
        pytest.param("1234567890123", "not_six_to_twelve_digits", id="thirteen digits"),
        pytest.param("777777", "one_digit_repeated", id="one digit"),
        pytest.param("345678", "run_of_digits", id="a run up"),
        pytest.param("987654", "run_of_digits", id="a run down"),
    ],
)
def test_a_pin_that_is_easily_guessed_is_refused(flow, note, with_password, pin, code):
    """422 at the member; the old one still signs."""
    answer = set_pin(flow, pin)
    assert (answer.status_code, faults(answer)) == (422, [("/pin", code)])
    assert sign(flow, note, PIN, at=f"{DAY} 10:01").status_code == 200


def test_a_wrong_password_counts_like_a_wrong_pin(flow, note, with_password):
    """Five of them lock: nobody guesses the password through this door either."""
    for _ in range(5):
        answer = set_pin(flow, "271828", password="not hers at all")
        assert (answer.status_code, answer.json()["code"]) == (403, "wrong_password")
    locked = set_pin(flow, "271828")
    assert (locked.status_code, locked.json()["code"]) == (429, "pin_locked")
    assert sign(flow, note, PIN, at=f"{DAY} 09:01").status_code == 429
    assert sign(flow, note, PIN, at=f"{DAY} 10:01").status_code == 200
