"""Two verdicts on one version: the first one stands, the second is told so, and the key alone decides it."""

import pytest
import time_machine

from clinic.models import Document, DocumentVersion, OutboxMessage, Signature, Verdict
from scheduling.selectors import notes as selectors
from tests import factories as make
from tests.concurrency.racing import Meeting, at_once, run_sql, statuses
from tests.scheduling.flow import PIN, Flow, signed_in

AT = "2026-03-31 12:00"
WAYS = {"cosign": {}, "return": {"reason": "Which cues?"}}


@pytest.fixture
def note(flow):
    note = flow.put(flow.visit("2026-03-31"), [], at="2026-03-31 10:00")
    flow.sign(note, at="2026-03-31 10:05")
    return note


def race(flow: Flow, note: str, *acts: str) -> list:
    """The answers to these acts of the same supervisor on the same version, on two devices at once."""
    digest = flow.open(note, at=AT).json()["current"]["digest"]

    def call(act: str):
        api = signed_in(flow.supervisor)
        body = {"pin": PIN, "digest": digest, **WAYS[act]}
        headers = {"HTTP_IDEMPOTENCY_KEY": make.new_id()}
        return lambda: api.post(f"/api/v1/notes/{note}/{act}/", body, format="json", **headers)

    with time_machine.travel(make.at(AT), tick=False):
        return at_once([call(act) for act in acts])


@pytest.mark.parametrize("acts", [("cosign", "return"), ("cosign", "cosign"), ("return", "return")])
def test_one_version_gets_one_verdict(flow, note, acts):
    """One 200 and one 409; one verdict, one message, one state; the other one wrote nothing."""
    answers = race(flow, note, *acts)
    assert statuses(answers) == [200, 409]
    verdict = Verdict.objects.get()
    assert Document.objects.get().state == {"cosigned": "cosigned", "returned": "returned"}[verdict.outcome]
    assert Signature.objects.filter(meaning="cosignature").count() == (verdict.outcome == "cosigned")
    assert OutboxMessage.objects.filter(topic__in=["document.cosigned", "document.returned"]).count() == 1
    assert DocumentVersion.objects.count() == 1


@pytest.fixture
def without_the_lock(monkeypatch):
    """Both read the note as signed before either decides: the row's lock is taken away, only the keys are left."""
    meeting = Meeting(2)

    def unlocked(actor, note_id, *, kind):
        row = selectors.note_for(actor, note_id, kind=kind)
        meeting.wait()
        return row

    monkeypatch.setattr("scheduling.api.notes.selectors.note_to_change", unlocked)


@pytest.mark.parametrize("acts", [("cosign", "return"), ("cosign", "cosign")])
def test_the_key_alone_decides(flow, note, without_the_lock, acts):
    """Without the lock of the row the verdict's key still lets one through and tells the other."""
    answers = race(flow, note, *acts)
    assert statuses(answers) == [200, 409]
    refused = next(answer for answer in answers if answer.status_code == 409)
    assert refused.json()["code"] == "already_decided"
    assert Verdict.objects.count() == 1


@pytest.mark.parametrize("acts", [("cosign", "return"), ("cosign", "cosign")])
def test_without_the_key_there_are_two_verdicts(flow, note, without_the_lock, acts):
    """The control: with the keys taken away as well, both pass."""
    run_sql("ALTER TABLE clinic_verdict DROP CONSTRAINT clinic_verdict_pkey CASCADE")
    run_sql("ALTER TABLE clinic_signature DROP CONSTRAINT signature_once_per_meaning")
    answers = race(flow, note, *acts)
    assert statuses(answers) == [200, 200]
    outcomes = run_sql("SELECT outcome FROM clinic_verdict ORDER BY outcome")
    assert [outcome for (outcome,) in outcomes] == sorted({"cosign": "cosigned", "return": "returned"}[a] for a in acts)
