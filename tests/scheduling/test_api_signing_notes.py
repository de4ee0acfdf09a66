"""Signing: under which version, key and PIN; what is frozen, what follows, and what a repeat answers."""

import hashlib
import json

import pytest
import rfc8785
import time_machine

from clinic.enums import Role
from clinic.models import (
    AuditEvent,
    ChangeFeed,
    Document,
    DocumentVersion,
    Idempotency,
    OutboxHandling,
    OutboxMessage,
    Signature,
)
from goals.models import Measurement
from scheduling.models import ParticipationChange
from tests import factories as make
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
TEN, ELEVEN = f"{DAY} 10:00", f"{DAY} 11:00"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def note(flow):
    """A draft with one measurement, of a visit that is over."""
    goal = flow.goal()
    measured = [{"goal": str(goal.pk), "successes": 7, "opportunities": 10}]
    return flow.put(flow.visit(DAY), measured, at=TEN)


def written() -> tuple[int, ...]:
    models = (DocumentVersion, Signature, Measurement, OutboxMessage, OutboxHandling, ChangeFeed, Idempotency)
    return tuple(model.objects.count() for model in (*models, ParticipationChange))


def sign(flow, note, *, key=None, match=1, pin=PIN, api=None, at=ELEVEN, body=None, act="sign"):
    headers = {}
    if key is not False:
        headers["HTTP_IDEMPOTENCY_KEY"] = key or make.new_id()
    if match is not None:
        headers["HTTP_IF_MATCH"] = f'"{match}"'
    with time_machine.travel(make.at(at), tick=False):
        return (api or flow.ana).post(
            f"/api/v1/notes/{note}/{act}/", {"pin": pin} if body is None else body, format="json", **headers
        )


def test_a_signed_note_is_frozen(flow, note):
    """Version one with digest and signature; the draft is gone, and whose turn it is until when is set."""
    make.make_credential(flow.assistant)
    answer = sign(flow, note)
    assert (answer.status_code, answer["ETag"]) == (200, '"2"')
    told = answer.json()
    assert (told["state"], told["draft"], told["cosign_owner"]) == ("signed", None, str(flow.supervisor.pk))
    assert told["cosign_due_at"] == "2026-04-08T05:00:00Z"  # the end of 7 April in Chicago
    current = told["current"]
    assert (current["number"], current["previous_digest"], current["verdict"], current["flags"]) == (1, "", None, [])
    (signature,) = current["signatures"]
    assert signature == {
        "signer": str(flow.assistant.pk),
        "printed_name": "Ana Brandt, OTA",
        "meaning": "authorship",
        "signed_at": "2026-03-31T16:00:00Z",
        "application": "session",
        "in_succession_to": None,
    }
    row = Signature.objects.get()
    assert (row.digest, row.version_author) == (current["digest"], flow.assistant)


def test_the_frozen_content_is_canonical(flow, note):
    """Its bytes are those of RFC 8785 (checked with another implementation of it), its digest their SHA-256."""
    current = sign(flow, note).json()["current"]
    version = DocumentVersion.objects.get()
    content = bytes(version.content)
    assert content == rfc8785.dumps(json.loads(content))
    assert hashlib.sha256(content).hexdigest() == version.digest == current["digest"]
    assert json.loads(content) == current["content"]
    found = current["content"]
    assert found["kind"] == "visit_note"
    assert (found["document"], found["author"]) == (note, str(flow.assistant.pk))
    assert (found["client"], found["episode"]) == (str(flow.child.pk), str(flow.episode.pk))
    assert (found["service_date"], found["record_regime"]) == (DAY, "health_record")
    assert (found["visit"]["time_zone"], found["participation"]["minutes"]) == ("America/Chicago", 45)
    assert found["body"]["measurements"][0]["successes"] == 7


def test_what_signing_writes_besides(flow, note):
    """The measurement rows once, one message with ids alone and a handling for each listener, a line in the trail."""
    sign(flow, note)
    row = Measurement.objects.get()
    assert (row.successes, row.counted, row.slot, str(row.document_id)) == (7, 10, 1, note)
    assert (row.site, row.service_date.isoformat(), row.recorded_at) == (flow.site, DAY, make.at(ELEVEN))
    message = OutboxMessage.objects.get(topic="document.signed")
    assert message.refs == {"document_id": note}
    assert {handling.handler for handling in message.handlings.all()} == {
        "goals.recompute_of_document",
        "scheduling.check_document",
        "scheduling.follow_clocks_of_document",
    }
    event = AuditEvent.objects.filter(action="notes:sign").get()
    assert (event.status, event.outcome, str(event.subject_id), event.actor) == (200, "done", note, flow.assistant)


def test_signing_says_that_the_visit_was_held(flow):
    """A visit that nobody checked in is held by the note that is signed: planned minutes, or those in the note."""
    first = flow.visit("2026-03-03")
    flow.sign(flow.put(first, [], at="2026-03-03 10:00"), at="2026-03-03 10:05")
    assert (flow.part(first).status, flow.part(first).minutes) == ("fulfilled", 45)

    second = flow.visit("2026-03-04")
    with time_machine.travel(make.at("2026-03-04 10:00"), tick=False):
        note = make.new_id()
        flow.ana.put(f"/api/v1/notes/{note}/", {"participation": second, "minutes": 30}, format="json")
    flow.sign(note, at="2026-03-04 10:05")
    assert flow.part(second).minutes == 30

    third = flow.visit("2026-03-05")
    flow.step(third, "finish", at="2026-03-05 10:00", left_at="2026-03-05T09:20:00-06:00")
    flow.sign(flow.put(third, [], at="2026-03-05 10:00"), at="2026-03-05 10:05")
    assert flow.part(third).minutes == 20


def test_a_visit_that_has_not_begun_is_not_signed(flow):
    """The note may be prepared; signed it is once the visit has begun."""
    answer = flow.book(f"{DAY} 15:00", at=TEN)
    note = flow.put(answer.json()["children"][0]["id"], [], at=TEN)
    before = written()
    early = sign(flow, note, at=f"{DAY} 14:59")
    assert (early.status_code, early.json()["code"]) == (422, "visit_not_begun")
    assert (written(), flow.read(note)["state"]) == (before, "draft")
    assert sign(flow, note, at=f"{DAY} 15:40").status_code == 200


def test_a_visit_that_was_called_off_is_not_signed(flow):
    """Whoever cancelled it says so first by reinstating it."""
    part = flow.book(f"{DAY} 15:00", at=TEN).json()["children"][0]["id"]
    note = flow.put(part, [], at=TEN)
    flow.step(part, "cancel", at=f"{DAY} 14:00", cause="client")
    before = written()
    refused = sign(flow, note, at=f"{DAY} 16:00")
    assert (refused.status_code, refused.json()["code"]) == (409, "visit_called_off")
    assert written() == before
    assert flow.step(part, "reinstate", at=f"{DAY} 16:01").status_code == 200
    assert sign(flow, note, at=f"{DAY} 16:05").status_code == 200


def test_one_signs_what_one_saw(flow, note):
    """Without If-Match 428, with a stale one 412; nothing is signed."""
    before = written()
    missing = sign(flow, note, match=None)
    assert (missing.status_code, missing.json()["code"]) == (428, "precondition_required")
    stale = sign(flow, note, match=8)
    assert (stale.status_code, stale.json()["current_etag"]) == (412, '"1"')
    assert (written(), flow.read(note)["state"]) == (before, "draft")


def test_what_is_signed_is_not_signed_again(flow, note):
    """Another request under another key: 409; measurement rows stay as they are."""
    sign(flow, note)
    before = written()
    again = sign(flow, note, match=2)
    assert (again.status_code, again.json()["code"]) == (409, "already_signed")
    assert written() == before


def test_measurements_are_judged_again_at_signing(flow):
    """What was possible when it was written and no longer is: refused, and nothing half signed."""
    goal = flow.goal()
    note = flow.put_note(flow.visit(DAY), successes=7, goal=goal.pk, at=TEN)
    draft = Document.objects.get(pk=note).draft
    draft["measurements"][0]["successes"] = 70
    Document.objects.filter(pk=note).update(draft=draft)
    before = written()
    assert sign(flow, note).status_code == 422
    assert (written(), flow.read(note)["state"]) == (before, "draft")


# --- Idempotency ------------------------------------------------------------------------------------------


def test_a_key_is_required(flow, note):
    """400 without one, and for one that is no key; nothing is signed."""
    before = written()
    missing = sign(flow, note, key=False)
    assert (missing.status_code, missing.json()["code"]) == (400, "idempotency_key_required")
    for bad in ("short", "with space here", "x" * 101, "schlüssel-1234"):
        answer = sign(flow, note, key=bad.encode().decode("latin-1"))
        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_header")
    assert written() == before


def test_a_repeat_answers_the_first_answer(flow, note):
    """Byte for byte, with its ETag, and says that it is a repeat, though the note has moved on."""
    key = make.new_id()
    first = sign(flow, note, key=key)
    assert not first.has_header("Idempotency-Replayed")
    flow.cosign(note, digest=first.json()["current"]["digest"], at="2026-03-31 12:00")
    before = written()
    again = sign(flow, note, key=key, at="2026-04-01 10:59")
    assert (again.status_code, again["Idempotency-Replayed"], again["ETag"]) == (200, "true", first["ETag"])
    assert again.content == first.content
    assert written() == before


def test_a_key_lives_for_a_day(flow, note):
    """After 24 hours the same key is a new request, which finds the note signed."""
    key = make.new_id()
    sign(flow, note, key=key)
    later = sign(flow, note, key=key, match=2, at="2026-04-01 11:00")
    assert (later.status_code, later.json()["code"]) == (409, "already_signed")


def test_a_key_is_not_used_for_something_else(flow, note):
    """The same key with another path or body is 422; the PIN is no part of what was asked."""
    key = make.new_id()
    sign(flow, note, key=key)
    digest = flow.read(note)["current"]["digest"]
    other = flow.put(flow.visit(DAY, start="13:00"), [], at=f"{DAY} 14:00")
    before = written()
    answer = sign(flow, other, key=key, at=f"{DAY} 15:00")
    assert (answer.status_code, answer.json()["code"]) == (422, "idempotency_key_reused")
    assert written() == before

    ruths = make.new_id()
    asked = {"pin": PIN, "digest": digest, "reason": "Which cues?"}
    first = sign(flow, note, key=ruths, api=flow.ruth, act="return", body=asked, match=None)
    changed = sign(flow, note, key=ruths, api=flow.ruth, act="return", body={**asked, "reason": "None"}, match=None)
    assert (first.status_code, changed.status_code) == (200, 422)


def test_another_persons_key_is_another_key(flow, note):
    """Two people may hit on the same key; neither gets the other's answer."""
    key = make.new_id()
    digest = sign(flow, note, key=key).json()["current"]["digest"]
    body = {"pin": PIN, "digest": digest}
    flow.open(note, at=ELEVEN)
    answer = sign(flow, note, key=key, api=flow.ruth, act="cosign", body=body, match=None)
    assert (answer.status_code, answer.json()["state"]) == (200, "cosigned")
    assert not answer.has_header("Idempotency-Replayed")


def test_a_refusal_is_not_kept(flow, note):
    """The key of a refused request may carry the mended one."""
    key = make.new_id()
    assert sign(flow, note, key=key, match=9).status_code == 412
    assert not Idempotency.objects.exists()
    mended = sign(flow, note, key=key)
    assert (mended.status_code, mended.has_header("Idempotency-Replayed")) == (200, False)


def test_a_repeat_needs_the_pin_too(flow, note):
    """Who found the key cannot have the answer without the PIN."""
    key = make.new_id()
    sign(flow, note, key=key)
    answer = sign(flow, note, key=key, pin="111112")
    assert (answer.status_code, answer.json()["code"]) == (403, "wrong_pin")


def test_stored_answers_hold_no_pin(flow, note):
    """Neither the fingerprint's row nor the trail carries what was typed."""
    sign(flow, note)
    kept = Idempotency.objects.get()
    assert PIN not in bytes(kept.body).decode() + kept.fingerprint + json.dumps(kept.headers)
    assert not AuditEvent.objects.filter(reason__contains=PIN).exists()


# --- Who ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.FRONT_DESK])
def test_who_does_not_treat_signs_nothing(flow, note, role):
    """403 before anything is asked."""
    _, api = flow.person("Ida Roth", role)
    assert sign(flow, note, api=api).status_code == 403
    assert flow.read(note)["state"] == "draft"


def test_a_stranger_finds_nothing_to_sign(flow, note):
    """404, and her PIN is not even compared."""
    _, mia = flow.person("Mia Lund", Role.ASSISTANT)
    assert sign(flow, note, api=mia, pin="111112").status_code == 404


def test_a_therapists_own_note_is_final(flow):
    """Signed alone; it waits on nobody, and cannot be co-signed or returned."""
    part = flow.visit(DAY, api=flow.ruth, staff=flow.supervisor)
    note = flow.put(part, [], at=TEN, api=flow.ruth)
    told = flow.sign(note, at=ELEVEN, api=flow.ruth).json()
    assert (told["requires_cosignature"], told["cosign_owner"], told["cosign_due_at"]) == (False, None, None)
    queue = flow.get("cosign-queue/", at=ELEVEN, api=flow.ruth).json()["results"]
    assert queue == []


def test_where_no_cosignature_is_asked_for(flow):
    """An organization that asks for none: the assistant's signed note is final."""
    flow.organization.cosignature_required = False
    flow.organization.save()
    note = flow.put(flow.visit(DAY), [], at=TEN)
    assert sign(flow, note).json()["requires_cosignature"] is False
