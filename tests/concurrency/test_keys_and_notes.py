"""Repeats and rivals of one note: the same key eight times, two devices, two children's notes of one visit."""

import pytest
import time_machine

from clinic.api import idempotency
from clinic.models import Document, DocumentVersion, Idempotency, Signature
from goals.services import measurements
from scheduling.models import Participation, ParticipationNote, Visit
from scheduling.services import steps
from tests import factories as make
from tests.concurrency.racing import Meeting, at_once, run_sql, statuses
from tests.scheduling.flow import PIN, signed_in

DAY = "2026-03-31"
AT = f"{DAY} 12:00"


@pytest.fixture
def note(flow):
    return flow.put(flow.visit(DAY), [], at=f"{DAY} 10:00")


def sign_eight_times(flow, note) -> list:
    key = make.new_id()
    headers = {"HTTP_IDEMPOTENCY_KEY": key, "HTTP_IF_MATCH": '"1"'}

    def call():
        api = signed_in(flow.assistant)
        return lambda: api.post(f"/api/v1/notes/{note}/sign/", {"pin": PIN}, format="json", **headers)

    with time_machine.travel(make.at(AT), tick=False):
        return at_once([call() for _ in range(8)])


def test_one_key_signs_once(flow, note):
    """Eight sendings of one request: one version, and seven times the first one's answer, byte for byte."""
    answers = sign_eight_times(flow, note)
    assert statuses(answers) == [200] * 8
    assert sum(answer.has_header("Idempotency-Replayed") for answer in answers) == 7
    assert len({answer.content for answer in answers}) == 1
    assert (DocumentVersion.objects.count(), Signature.objects.count(), Idempotency.objects.count()) == (1, 1, 1)


def test_without_the_keys_lock_the_repeats_are_refused(flow, note, monkeypatch):
    """The control: nobody waits for who holds the key, so seven find the note signed and are told 412."""
    monkeypatch.setattr(idempotency, "claim", lambda **asked: None)
    run_sql("ALTER TABLE clinic_idempotency DROP CONSTRAINT idempotency_key_once")
    answers = sign_eight_times(flow, note)
    assert statuses(answers) == [200] + [412] * 7
    assert not any(answer.has_header("Idempotency-Replayed") for answer in answers)


# --- Two devices --------------------------------------------------------------------------------------------


def put_on_two_devices(flow, part: str, ids: tuple[str, str]) -> list:
    def call(note: str):
        api = signed_in(flow.assistant)
        body = {"participation": part, "objective": "At the table."}
        return lambda: api.put(f"/api/v1/notes/{note}/", body, format="json")

    with time_machine.travel(make.at(AT), tick=False):
        return at_once([call(note) for note in ids])


def test_two_notes_for_one_part(flow):
    """Two devices, two ids: one 201 and one 409, and one note."""
    answers = put_on_two_devices(flow, flow.visit(DAY), (make.new_id(), make.new_id()))
    assert statuses(answers) == [201, 409]
    refused = next(answer for answer in answers if answer.status_code == 409)
    assert refused.json()["code"] == "note_exists"
    assert refused.json()["existing_id"] == str(ParticipationNote.objects.get().document_id)
    assert Document.objects.count() == 1


def test_one_note_sent_twice(flow):
    """Two sendings of one note under one id: it is made once, and the other is answered with it."""
    note = make.new_id()
    answers = put_on_two_devices(flow, flow.visit(DAY), (note, note))
    assert statuses(answers) == [200, 201]
    assert answers[0].json() == answers[1].json()
    assert Document.objects.count() == 1


@pytest.fixture
def unseen(monkeypatch):
    """Both have looked for an earlier note before either writes hers."""
    meeting, judge = Meeting(2), measurements.judge

    def judged_together(**asked):
        meeting.wait()
        return judge(**asked)

    monkeypatch.setattr(measurements, "judge", judged_together)


def test_the_key_alone_keeps_notes_apart(flow, unseen):
    """Though both looked before either wrote, the table lets one through."""
    answers = put_on_two_devices(flow, flow.visit(DAY), (make.new_id(), make.new_id()))
    assert statuses(answers) == [201, 409]
    refused = next(answer for answer in answers if answer.status_code == 409)
    assert refused.json()["existing_id"] == str(ParticipationNote.objects.get().document_id)


def test_without_the_key_there_are_two_notes(flow, unseen):
    """The control."""
    run_sql("DROP INDEX note_once_per_participation_and_author")
    answers = put_on_two_devices(flow, flow.visit(DAY), (make.new_id(), make.new_id()))
    assert statuses(answers) == [201, 201]
    assert ParticipationNote.objects.count() == 2


# --- Two children of one visit --------------------------------------------------------------------------------


@pytest.fixture
def group(flow):
    """The notes of two children of one group that nobody checked in."""
    children = [{"episode": str(episode.pk)} for episode in (flow.episode, flow.another_child())]
    answer = flow.book(f"{DAY} 09:00", at=f"{DAY} 09:45", kind="group", children=children)
    assert answer.status_code == 201
    return [flow.put(part["id"], [], at=f"{DAY} 10:00") for part in answer.json()["children"]]


def sign_both(flow, notes: list[str]) -> list:
    def call(note: str):
        api = signed_in(flow.assistant)
        headers = {"HTTP_IDEMPOTENCY_KEY": make.new_id(), "HTTP_IF_MATCH": '"1"'}
        return lambda: api.post(f"/api/v1/notes/{note}/sign/", {"pin": PIN}, format="json", **headers)

    with time_machine.travel(make.at(AT), tick=False):
        return at_once([call(note) for note in notes])


def test_both_notes_of_a_group_fulfil_the_visit(flow, group):
    """Signed at the same moment, each says that its child was there: the visit is over for both."""
    assert statuses(sign_both(flow, group)) == [200, 200]
    assert Visit.objects.get().status == "fulfilled"


def test_without_the_visits_lock_its_status_is_lost(flow, group, monkeypatch):
    """The control: each sees the other's child still booked, and the visit stays half-way."""
    meeting = Meeting(2)

    def unlocked(note):
        part = Participation.objects.select_related("visit__site", "episode").get(notes__document=note)
        part.visit.site, part.episode  # noqa: B018
        meeting.wait()
        return part

    monkeypatch.setattr("scheduling.services.notes.selectors.participation_of", unlocked)
    seen = Meeting(2)
    monkeypatch.setattr(steps, "_visit_follows", following(seen, steps._visit_follows))
    assert statuses(sign_both(flow, group)) == [200, 200]
    assert Visit.objects.get().status == "checked-in"


def following(seen: Meeting, visit_follows):
    def follow(visit):
        seen.wait()
        visit_follows(visit)

    return follow
