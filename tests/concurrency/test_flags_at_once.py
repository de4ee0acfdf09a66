"""A flag found while the version is co-signed: whoever opened it before either signs without it, or sees it first."""

from threading import Event

import pytest
import time_machine

from clinic.models import Document, DocumentFlag, Verdict
from clinic.services.flags import raise_flags
from scheduling.services import later_checks
from tests import factories as make
from tests.concurrency.racing import PATIENCE, at_once
from tests.scheduling.flow import PIN, signed_in

TEXT = "She fastened four large buttons on the vest, resting twice, and asked for the small ones before the song ended."
AT = "2026-03-31 12:00"
BLOCKED = 3


@pytest.fixture
def note(flow):
    """A note that says what the one before it says, opened by its supervisor before that is found."""
    for day in ("2026-03-30", "2026-03-31"):
        note = flow.put(flow.visit(day), [], at=f"{day} 10:00", plan=TEXT)
        flow.sign(note, at=f"{day} 10:05")
    flow.open(note, at=AT)
    return note


def race(flow, note, monkeypatch):
    """The answer to a co-signature that is sent once the check has begun to flag the version."""
    begun, answered = Event(), Event()

    def slow(**found):
        begun.set()
        answered.wait(BLOCKED)
        return raise_flags(**found)

    def cosign():
        begun.wait(PATIENCE)
        answer = api.post(
            f"/api/v1/notes/{note}/cosign/",
            {"pin": PIN, "digest": digest},
            format="json",
            HTTP_IDEMPOTENCY_KEY=make.new_id(),
        )
        answered.set()
        return answer

    monkeypatch.setattr(later_checks, "raise_flags", slow)
    api, digest = signed_in(flow.supervisor), flow.read(note)["current"]["digest"]
    with time_machine.travel(make.at(AT), tick=False):
        _, answer = at_once([lambda: later_checks.check_document(note, now=make.at(AT)), cosign])
    assert DocumentFlag.objects.filter(version__document=note).count() == 1
    return answer


def test_a_flag_being_raised_is_seen_first(flow, note, monkeypatch):
    """The co-signature waits for the check's lock, and is told to open the version again."""
    answer = race(flow, note, monkeypatch)
    assert (answer.status_code, answer.json()["code"]) == (409, "flagged_since_opened")
    assert not Verdict.objects.exists()


def test_without_the_lock_it_would_be_cosigned_unseen(flow, note, monkeypatch):
    """The control: the same check without its lock lets her sign what she was not shown."""

    def unlocked(checked, found, now):
        return later_checks.raise_flags(document=Document.objects.get(pk=checked.pk), found=found, now=now)

    monkeypatch.setattr(later_checks, "_raise", unlocked)
    assert race(flow, note, monkeypatch).status_code == 200
