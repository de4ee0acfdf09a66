"""Several versions co-signed at once: one PIN, each done or refused by itself."""

import hashlib

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import AuditEvent, OutboxMessage, Signature, Verdict
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
TEN, NOON = f"{DAY} 10:00", f"{DAY} 12:00"
OTHER_DIGEST = hashlib.sha256(b"another content").hexdigest()


@pytest.fixture
def flow():
    return Flow()


def signed(flow, start: str) -> str:
    note = flow.put(flow.visit(DAY, start=start), [], at=f"{DAY} 11:00")
    flow.sign(note, at=f"{DAY} 11:05")
    return note


def item(flow, note: str, *, opened: bool = True) -> dict[str, str]:
    """As she would send it, after she opened it (or only read its digest in the queue)."""
    if opened:
        flow.open(note, at=NOON)
    return {"document": note, "digest": flow.read(note)["current"]["digest"]}


def send(flow, items: list[dict[str, str]], *, api=None, pin: str = PIN, key: str | None = None):
    headers = {"HTTP_IDEMPOTENCY_KEY": key or make.new_id()}
    with time_machine.travel(make.at(NOON), tick=False):
        return (api or flow.ruth).post(
            "/api/v1/cosign-queue/cosign/", {"pin": pin, "items": items}, format="json", **headers
        )


def outcomes(answer) -> list[tuple[str, str]]:
    assert answer.status_code == 200, answer.content
    return [(row["outcome"], row["code"]) for row in answer.json()["results"]]


def test_each_is_done_or_refused_by_itself(flow):
    """In the order of asking; a refused one names its code and undoes nothing of the others."""
    theirs = flow.another_child("Teo", flow.person("Mia Lund", Role.THERAPIST)[0])
    good, unopened, stale, good_too = (signed(flow, f"0{hour}:00") for hour in (5, 6, 7, 8))
    draft = flow.put(flow.visit(DAY, start="09:00"), [], at=f"{DAY} 11:00")
    hidden = make.make_signed_note(flow.assistant, theirs, service_date=make.at(TEN).date(), measurements=[])
    asked = [
        item(flow, good),
        item(flow, unopened, opened=False),
        {**item(flow, stale), "digest": OTHER_DIGEST},
        {"document": draft, "digest": OTHER_DIGEST},
        {"document": str(hidden.pk), "digest": hidden.current_version.digest},
        {"document": make.new_id(), "digest": OTHER_DIGEST},
        item(flow, good_too),
    ]
    assert outcomes(send(flow, asked)) == [
        ("cosigned", ""),
        ("refused", "not_opened"),
        ("refused", "version_changed"),
        ("refused", "not_signed"),
        ("refused", "not_found"),
        ("refused", "not_found"),
        ("cosigned", ""),
    ]
    assert {str(pk) for pk in Verdict.objects.values_list("version__document_id", flat=True)} == {good, good_too}
    assert Signature.objects.filter(meaning="cosignature").count() == 2
    assert OutboxMessage.objects.filter(topic="document.cosigned").count() == 2
    left = flow.get("cosign-queue/", at=NOON, api=flow.ruth).json()["results"]
    assert {row["document"] for row in left} == {unopened, stale}


def test_an_answer_says_what_the_document_is_now(flow):
    """Its state and version after the act; of one out of reach nothing at all."""
    note = signed(flow, "08:00")
    done, gone = send(flow, [item(flow, note), {"document": make.new_id(), "digest": OTHER_DIGEST}]).json()["results"]
    assert (done["kind"], done["state"], done["version"]) == ("visit_note", "cosigned", 3)
    assert (gone["kind"], gone["state"], gone["version"]) == (None, None, None)


def test_a_repeat_answers_the_first_answer(flow):
    """Under its key; without one it is 400, and nothing is done twice."""
    note, late = signed(flow, "07:00"), signed(flow, "08:00")
    asked, key = [item(flow, note), item(flow, late, opened=False)], make.new_id()
    first = send(flow, asked, key=key)
    flow.open(late, at=NOON)
    again = send(flow, asked, key=key)
    assert (again.content, again["Idempotency-Replayed"]) == (first.content, "true")
    assert Verdict.objects.count() == 1
    assert [{client for client, _ in event.touched} for event in events()] == [{flow.child.pk}] * 2
    with time_machine.travel(make.at(NOON), tick=False):
        bare = flow.ruth.post("/api/v1/cosign-queue/cosign/", {"pin": PIN, "items": asked}, format="json")
    assert (bare.status_code, bare.json()["code"]) == (400, "idempotency_key_required")


def events():
    return AuditEvent.objects.filter(route="api/v1/cosign-queue/cosign/").order_by("at", "pk")


def test_one_pin_and_one_event_for_all(flow):
    """A wrong PIN is one miss and does nothing; the right one is asked once."""
    asked = [item(flow, signed(flow, f"0{hour}:00")) for hour in (6, 7, 8)]
    wrong = send(flow, asked, pin=PIN[::-1])
    assert (wrong.status_code, wrong.json()["code"]) == (403, "wrong_pin")
    assert not Verdict.objects.exists()
    assert outcomes(send(flow, asked)) == [("cosigned", "")] * 3
    assert [event.status for event in events()] == [403, 200]


def test_an_addendum_among_them(flow):
    """Whatever waits for a co-signature can be among them."""
    note = signed(flow, "08:00")
    flow.cosign(note, digest=flow.read(note)["current"]["digest"], at=NOON)
    addendum = make.new_id()
    with time_machine.travel(make.at(NOON), tick=False):
        flow.ana.put(f"/api/v1/addenda/{addendum}/", {"amends": note, "text": "Left hand."}, format="json")
        headers = {"HTTP_IF_MATCH": '"1"', "HTTP_IDEMPOTENCY_KEY": make.new_id()}
        told = flow.ana.post(f"/api/v1/addenda/{addendum}/sign/", {"pin": PIN}, format="json", **headers).json()
    flow.open(addendum, at=NOON, resource="addenda")
    answer = send(flow, [{"document": addendum, "digest": told["current"]["digest"]}])
    assert outcomes(answer) == [("cosigned", "")]
    assert answer.json()["results"][0]["kind"] == "addendum"


def test_another_therapist_is_refused_each(flow):
    """In reach but not hers: the code of the note's own door; her own note too."""
    note = signed(flow, "08:00")
    mia, api = flow.person("Mia Lund", Role.THERAPIST)
    make.put_on_team(mia, flow.episode)
    flow.open(note, at=NOON, api=api)
    assert outcomes(send(flow, [item(flow, note)], api=api)) == [("refused", "not_supervisor_on_visit_day")]
    assert not Verdict.objects.exists()


@pytest.mark.parametrize(
    ("count", "status", "fault"),
    [
        pytest.param(0, 400, ("/items", "empty"), id="none"),
        pytest.param(50, 200, None, id="fifty"),
        pytest.param(51, 400, ("/items", "max_length"), id="one more"),
    ],
)
def test_from_one_to_fifty(flow, count, status, fault):
    """Fifty are answered one by one; none or one more is refused as a whole."""
    answer = send(flow, [{"document": make.new_id(), "digest": OTHER_DIGEST} for _ in range(count)])
    assert answer.status_code == status
    if fault:
        assert faults(answer) == [fault]
    else:
        assert outcomes(answer) == [("refused", "not_found")] * 50


def test_a_document_stands_once(flow):
    """400: which of two digests she means would be a guess."""
    note = signed(flow, "08:00")
    answer = send(flow, [item(flow, note), {"document": note, "digest": OTHER_DIGEST}])
    assert (answer.status_code, faults(answer)) == (400, [("/items", "doubled")])
    assert not Verdict.objects.exists()


@pytest.mark.parametrize(
    "items",
    [
        pytest.param("all", id="a word"),
        pytest.param([{"document": "x", "digest": OTHER_DIGEST}], id="no id"),
        pytest.param([{"document": make.new_id()}], id="no digest"),
        pytest.param([{"document": make.new_id(), "digest": OTHER_DIGEST, "why": "so"}], id="unknown member"),
        pytest.param([None], id="null"),
    ],
)
def test_a_malformed_item_refuses_the_request(flow, items):
    """400 with its place, before anything is asked or done."""
    answer = send(flow, items)
    assert answer.status_code == 400
    assert faults(answer)[0][0].startswith("/items")


@pytest.mark.parametrize("role", [Role.ASSISTANT, Role.ADMINISTRATOR, Role.FRONT_DESK])
def test_who_cosigns_nothing(flow, role):
    """403 by role."""
    _, api = flow.person("Ida Roth", role)
    assert send(flow, [{"document": make.new_id(), "digest": OTHER_DIGEST}], api=api).status_code == 403
