"""Rows out of reach change no list and are as if they did not exist. `tests.bench.reach` walks every door."""

import pytest
import time_machine

from clinic.api.views import ListDoor
from clinic.models.clients import PrecautionQuerySet
from clinic.selectors import rows
from tests.architecture.doors import list_doors, named_acts
from tests.architecture.reach_walk import clinic_with_others, is_told_apart, leaks, told_from_absent

pytestmark = pytest.mark.django_db
READS = [(method, route) for method, route in named_acts() if method == "GET" and is_told_apart(method, route)]


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel("2026-04-15T15:00:00Z", tick=False):
        yield


@pytest.fixture
def clinic():
    return clinic_with_others()


def test_no_list_tells_of_rows_out_of_reach(clinic):
    """Whoever asks gets byte for byte the same, and nothing of a child stays in logs, outbox, trail or notices."""
    assert [str(leak) for route in list_doors() for leak in leaks(clinic, "GET", route)] == []


def test_out_of_reach_is_as_not_there(clinic):
    """The same answer by the same statements, at every door that shows one row."""
    found = [str(leak) for method, route in READS for leak in told_from_absent(clinic, method, route)]
    assert found == []


def test_a_list_that_forgets_reach_would_be_seen(clinic, monkeypatch):
    """The control: precautions of every child."""
    monkeypatch.setattr(PrecautionQuerySet, "visible_to", lambda rows, actor, action: rows)
    assert {leak.told for leak in leaks(clinic, "GET", "precautions/")} >= {"another answer", "a word in the answer"}


def test_a_word_left_behind_would_be_seen(clinic, monkeypatch):
    """The control: what a row says is kept in the trail."""
    touch_rows = ListDoor.touch_rows

    def quoting(door, shown):
        touch_rows(door, shown)
        door.reason = " ".join(row.text for row in shown)

    monkeypatch.setattr(ListDoor, "touch_rows", quoting)
    assert any("left behind" in leak.told for leak in leaks(clinic, "GET", "precautions/"))


def test_a_look_before_would_be_seen(clinic, monkeypatch):
    """The control: asking first whether there is such a row at all costs a statement more where there is one."""
    find = rows.one

    def looking(found, row_id, *, lock=False):
        if found.model.objects.filter(pk=row_id).exists():
            found.model.objects.filter(pk=row_id).exists()
        return find(found, row_id, lock=lock)

    monkeypatch.setattr("clinic.api.precautions.one", looking)
    leak, *_ = told_from_absent(clinic, "GET", "precautions/<uuid:id>/")
    assert leak.told == "other statements than for what does not exist"
