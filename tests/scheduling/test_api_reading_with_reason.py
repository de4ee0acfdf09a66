"""An administrator reads one document for an hour, for a reason that she states; those concerned are told."""

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import AuditEvent, DocumentReading, Notice
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db
NOON = "2026-03-04 12:00"
WHY = {"reason": "The family asked for an account of the visit"}


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def note(flow):
    """Ana's note of 3 March, signed, which waits for Ruth."""
    note = flow.put(flow.visit("2026-03-03"), [], at="2026-03-03 17:00")
    flow.sign(note, at="2026-03-03 17:05")
    return note


@pytest.fixture
def iris(flow):
    return flow.person("Iris Vale", Role.ADMINISTRATOR)


def read(api, note, *, at=NOON, **over):
    with time_machine.travel(make.at(at), tick=False):
        return api.post(f"/api/v1/documents/{note}/read/", {**WHY, **over}, format="json")


def told(staff):
    return [(row.kind, row.subject_kind, row.subject_id) for row in Notice.objects.filter(recipient=staff)]


def test_a_reason_opens_one_document_for_an_hour(flow, note, iris):
    """Before it and an hour after it the note is not there; between them all its doors show it."""
    _, api = iris
    paths = [f"notes/{note}/", f"notes/{note}/versions/", f"documents/{note}/verify/"]
    assert [flow.get(path, at=NOON, api=api).status_code for path in paths] == [404] * 3
    answer = read(api, note)
    assert answer.status_code == 201
    assert {name: answer.json()[name] for name in ("document", "reason", "begun_at", "ends_at")} == {
        "document": note,
        **WHY,
        "begun_at": "2026-03-04T18:00:00Z",
        "ends_at": "2026-03-04T19:00:00Z",
    }
    assert [flow.get(path, at="2026-03-04 12:59", api=api).status_code for path in paths] == [200] * 3
    shown = flow.get(f"notes/{note}/", at=NOON, api=api).json()
    assert shown["current"]["content"]["body"]["objective"] == "Seated at the table."
    assert [flow.get(path, at="2026-03-04 13:00", api=api).status_code for path in paths] == [404] * 3


def test_nothing_else_comes_into_reach(flow, note, iris):
    """The list holds that one note; another's stays out, and what hangs on the episode is still no administrator's."""
    _, api = iris
    other = flow.put(flow.visit("2026-03-02"), [], at="2026-03-02 17:00")
    read(api, note)
    assert [row["id"] for row in flow.get("notes/", at=NOON, api=api).json()["results"]] == [note]
    assert flow.get(f"notes/{other}/", at=NOON, api=api).status_code == 404
    assert flow.get("goals/", at=NOON, api=api).status_code == 403


def test_it_opens_the_reader_no_act(flow, note, iris):
    """She reads it; she can neither change, sign nor decide on it."""
    _, api = iris
    digest = flow.read(note)["current"]["digest"]
    read(api, note)
    assert flow.send_back(note, digest=digest, reason="So be it", at=NOON, api=api).status_code == 403
    assert flow.cosign(note, digest=digest, at=NOON, api=api).status_code == 403


def test_those_concerned_are_told_each_time(flow, note, iris):
    """Its author and whoever is to co-sign it, once for each reading; the reader is not told of herself."""
    admin, api = iris
    first, second = read(api, note).json()["id"], read(api, note, at="2026-03-04 15:00").json()["id"]
    expected = {("document_read", "document_reading", row.pk) for row in DocumentReading.objects.all()}
    assert {str(row[2]) for row in expected} == {first, second}
    assert set(told(flow.assistant)) == set(told(flow.supervisor)) == expected
    assert told(admin) == []


def test_those_concerned_see_who_and_why(flow, note, iris):
    """The author finds the reading with its reason; an assistant of another child does not."""
    admin, api = iris
    reading = read(api, note).json()
    assert flow.get("document-readings/", at=NOON, document=note).json()["results"] == [reading]
    assert flow.get("document-readings/", at=NOON, staff=str(admin.pk)).json()["results"] == [reading]
    _, stranger = flow.person("Nell Toft", Role.ASSISTANT)
    assert flow.get("document-readings/", at=NOON, api=stranger).json()["results"] == []


def test_the_trail_names_the_act_and_not_the_reason(flow, note, iris):
    """The event says who, which document and whose record; the text stands in the reading alone."""
    admin, api = iris
    read(api, note)
    event = AuditEvent.objects.get(actor=admin, action="document_readings:write")
    assert (str(event.subject_id), event.status, event.reason) == (note, 201, "")
    assert event.touched == [(flow.child.pk, flow.episode.pk)]


@pytest.mark.parametrize("reason", ["", " ", None])
def test_without_a_reason_nothing_opens(flow, note, iris, reason):
    """It is refused, nothing is in reach and nobody is told."""
    _, api = iris
    assert read(api, note, reason=reason).status_code == 400
    assert flow.get(f"notes/{note}/", at=NOON, api=api).status_code == 404
    assert (DocumentReading.objects.count(), Notice.objects.count()) == (0, 0)


def test_nobody_else_reads_by_a_reason(flow, note):
    """A therapist who does not treat the child, and the front desk, get no way in."""
    for role in (Role.THERAPIST, Role.ASSISTANT, Role.FRONT_DESK):
        _, api = flow.person("Somebody", role)
        assert read(api, note).status_code == 403


def test_a_reading_of_hers_is_nobody_elses(flow, note, iris):
    """A second administrator states a reason of her own."""
    _, other = flow.person("Bo Lind", Role.ADMINISTRATOR)
    read(iris[1], note)
    assert flow.get(f"notes/{note}/", at=NOON, api=other).status_code == 404
