"""A tablet that lost patience sends its batch from two connections at once: each operation is done once."""

import pytest
import time_machine

from clinic.api import idempotency
from clinic.models import Document
from scheduling.models import ParticipationChange
from tests import factories as make
from tests.concurrency.racing import at_once, run_sql
from tests.scheduling.flow import signed_in
from tests.tablets.test_batch import HOME_AGAIN, morning

DAY = "2026-03-31"


@pytest.fixture
def queued(flow):
    return morning(flow.book(f"{DAY} 09:00", at="2026-03-30 09:00").json()["children"][0]["id"])


def send_four_times(flow, queued) -> list[tuple[str, ...]]:
    def call():
        api = signed_in(flow.assistant)
        return lambda: api.post("/api/v1/batch/", {"operations": queued}, format="json")

    with time_machine.travel(make.at(HOME_AGAIN), tick=False):
        answers = at_once([call() for _ in range(4)])
    assert {answer.status_code for answer in answers} == {200}
    return list(zip(*[[one["outcome"] for one in answer.json()["results"]] for answer in answers], strict=True))


def test_each_operation_is_done_once(flow, queued):
    """One of the four applied it, and three are told that it was."""
    for outcomes in send_four_times(flow, queued):
        assert sorted(outcomes) == ["already_applied"] * 3 + ["applied"]
    steps = ParticipationChange.objects.values_list("to_status", flat=True)
    assert sorted(steps) == ["booked", "checked-in", "fulfilled"]
    assert Document.objects.count() == 1


def test_without_the_keys_lock_three_meet_a_conflict_with_themselves(flow, queued, monkeypatch):
    """The control: nobody waits for who holds the key."""
    monkeypatch.setattr(idempotency, "claim", lambda **asked: None)
    run_sql("ALTER TABLE clinic_idempotency DROP CONSTRAINT idempotency_key_once")
    check_ins, _, _ = send_four_times(flow, queued)
    assert sorted(check_ins) == ["applied"] + ["conflict"] * 3
