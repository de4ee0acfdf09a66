"""Co-signing and returning: by whom, of which version, with what reason, and once."""

import hashlib
import json
from datetime import date

import pytest
import time_machine
from django.db import connection

from clinic.enums import Role
from clinic.models import (
    CareTeam,
    ChangeFeed,
    DocumentVersion,
    OutboxMessage,
    Signature,
    StaffRole,
    Supervision,
    Verdict,
)
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


@pytest.fixture
def note(flow):
    """A signed note that waits for its co-signature."""
    note = flow.put(flow.visit(DAY), [], at=TEN)
    flow.sign(note, at=f"{DAY} 10:05")
    return note


def digest_of(flow, note) -> str:
    return flow.read(note)["current"]["digest"]


def written() -> tuple[int, ...]:
    models = (Verdict, Signature, DocumentVersion, OutboxMessage, ChangeFeed)
    return tuple(model.objects.count() for model in models)


def test_a_cosigned_note_is_final(flow, note):
    """A second signature in its own meaning, a verdict, nothing left to decide or to edit."""
    digest = digest_of(flow, note)
    make.make_credential(flow.supervisor, abbreviation="OTR")
    answer = flow.cosign(note, digest=digest, at=NOON)
    told = answer.json()
    assert (answer.status_code, told["state"], answer["ETag"]) == (200, "cosigned", '"3"')
    assert [(s["meaning"], s["printed_name"]) for s in told["current"]["signatures"]] == [
        ("authorship", "Ana Brandt"),
        ("cosignature", "Ruth Imber, OTR"),
    ]
    assert told["current"]["verdict"] == {
        "outcome": "cosigned",
        "by": str(flow.supervisor.pk),
        "at": "2026-03-31T17:00:00Z",
        "reason": "",
        "opened_at": "2026-03-31T17:00:00Z",
        "seconds_from_opening": 0,
    }
    assert (digest_of(flow, note), DocumentVersion.objects.count()) == (digest, 1)
    for act, body in (("cosign", {}), ("return", {"reason": "Too late"})):
        again = flow.act(flow.ruth, note, act, {"digest": digest, **body}, at=NOON)
        assert (again.status_code, again.json()["code"]) == (409, "already_cosigned")


def test_a_returned_note_waits_for_its_author(flow, note):
    """It leaves the queue, carries its reason, and is neither co-signed nor returned again before it is signed."""
    digest = digest_of(flow, note)
    told = flow.send_back(note, digest=digest, reason="Which cues\nwere given?", at=NOON).json()
    assert (told["state"], told["current"]["verdict"]["outcome"]) == ("returned", "returned")
    assert told["current"]["verdict"]["reason"] == "Which cues\nwere given?"
    assert flow.get("cosign-queue/", at=NOON, api=flow.ruth).json()["results"] == []
    for act, body in (("cosign", {}), ("return", {"reason": "Again"})):
        again = flow.act(flow.ruth, note, act, {"digest": digest, **body}, at=NOON)
        assert (again.status_code, again.json()["code"]) == (409, "not_signed")


def test_a_draft_is_not_decided_on(flow):
    """There is no version yet."""
    note = flow.put(flow.visit(DAY), [], at=TEN)
    before = written()
    answer = flow.cosign(note, digest=OTHER_DIGEST, at=NOON)
    assert (answer.status_code, answer.json()["code"]) == (409, "not_signed")
    assert written() == before


@pytest.mark.parametrize("act", ["cosign", "return"])
def test_she_decides_on_what_she_read(flow, note, act):
    """The digest of another content is 409, and nothing is written."""
    before = written()
    answer = flow.act(flow.ruth, note, act, {"digest": OTHER_DIGEST, **reason(act)}, at=NOON)
    assert (answer.status_code, answer.json()["code"]) == (409, "version_changed")
    assert written() == before


def reason(act: str) -> dict[str, str]:
    return {"reason": "Which cues?"} if act == "return" else {}


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        pytest.param({}, ("/reason", "required"), id="none"),
        pytest.param({"reason": ""}, ("/reason", "blank"), id="empty"),
        pytest.param({"reason": "x" * 2001}, ("/reason", "too_long"), id="2,001 characters"),
        pytest.param({"reason": "ok", "digest": "abc"}, ("/digest", "too_short"), id="no digest"),
        pytest.param({"reason": "ok", "why": "so"}, ("/why", "unknown_member"), id="unknown member"),
    ],
)
def test_returning_says_why(flow, note, body, fault):
    """400 at its place, and no miss or verdict."""
    answer = flow.act(flow.ruth, note, "return", {"digest": digest_of(flow, note), **body}, at=NOON)
    assert answer.status_code == 400
    assert faults(answer)[0][0] == fault[0]
    assert not Verdict.objects.exists()


def test_blanks_are_no_reason(flow, note):
    """Nor are line breaks."""
    before = written()
    answer = flow.send_back(note, digest=digest_of(flow, note), reason=" \n ", at=NOON)
    assert (answer.status_code, faults(answer)) == (400, [("/reason", "blank")])
    assert (written(), flow.read(note)["state"]) == (before, "signed")


@pytest.mark.parametrize("act", ["cosign", "return"])
def test_an_assistant_decides_on_nothing(flow, note, act):
    """Neither on her own note nor on a colleague's: 403 by her role."""
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    make.put_on_team(mia, flow.episode)
    before = written()
    for api in (flow.ana, mia_api):
        answer = flow.act(api, note, act, {"digest": digest_of(flow, note), **reason(act)}, at=NOON)
        assert answer.status_code == 403
    assert written() == before


@pytest.mark.parametrize("act", ["cosign", "return"])
def test_nobody_decides_on_her_own_note(flow, act):
    """Made therapist since, she may co-sign others' notes, not the one that she wrote as an assistant."""
    note = flow.put(flow.visit(DAY), [], at=TEN)
    digest = flow.sign(note, at=f"{DAY} 10:05").json()["current"]["digest"]
    StaffRole.objects.create(
        organization=flow.organization, staff=flow.assistant, role="therapist", starts_on=date(2026, 4, 1)
    )
    before = written()
    answer = flow.act(flow.ana, note, act, {"digest": digest, **reason(act)}, at="2026-04-01 09:00")
    assert (answer.status_code, answer.json()["code"]) == (403, "own_document")
    assert written() == before


@pytest.mark.parametrize("act", ["cosign", "return"])
@pytest.mark.parametrize("on_team", [True, False])
def test_another_therapist_does_not_decide(flow, note, act, on_team):
    """In reach but not her supervisor of that day: 403; out of reach: 404."""
    mia, api = flow.person("Mia Lund", Role.THERAPIST)
    if on_team:
        make.put_on_team(mia, flow.episode)
    before = written()
    answer = flow.act(api, note, act, {"digest": digest_of(flow, note), **reason(act)}, at=NOON)
    assert answer.status_code == (403 if on_team else 404)
    if on_team:
        assert answer.json()["code"] == "not_supervisor_on_visit_day"
    assert (written(), flow.read(note)["state"]) == (before, "signed")


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.FRONT_DESK])
def test_the_office_does_not_decide(flow, note, role):
    """403 by role."""
    _, api = flow.person("Ida Roth", role)
    answer = flow.act(api, note, "cosign", {"digest": digest_of(flow, note)}, at=NOON)
    assert answer.status_code == 403


def test_the_narrowest_assignment_owns_and_one_covering_may(flow):
    """An episode's own supervisor comes before the organization's; who covers on that day may co-sign as well."""
    narrow, narrow_api = flow.person("Nia Holt", Role.THERAPIST)
    cover, cover_api = flow.person("Oda Wirt", Role.THERAPIST)
    make.make_supervision(flow.assistant, narrow, scope="episode", episode=flow.episode)
    make.make_supervision(
        flow.assistant, cover, kind="covering", starts_on=date(2026, 3, 31), ends_on=date(2026, 3, 31)
    )
    first = flow.put(flow.visit(DAY), [], at=TEN)
    second = flow.put(flow.visit(DAY, start="08:00"), [], at=TEN)
    for note in (first, second):
        assert flow.sign(note, at=f"{DAY} 10:05").json()["cosign_owner"] == str(narrow.pk)
    refused = flow.cosign(first, digest=digest_of(flow, first), at=NOON)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_supervisor_on_visit_day")
    assert flow.cosign(first, digest=digest_of(flow, first), at=NOON, api=narrow_api).status_code == 200
    assert flow.cosign(second, digest=digest_of(flow, second), at=NOON, api=cover_api).status_code == 200


def test_a_cosigned_note_stays_in_her_reach(flow, note):
    """What she signed is hers to read when she supervises and treats no more."""
    flow.cosign(note, digest=digest_of(flow, note), at=NOON)
    CareTeam.objects.filter(staff=flow.supervisor).update(ends_on=date(2026, 4, 1))
    Supervision.objects.filter(supervisor=flow.supervisor).update(ends_on=date(2026, 4, 1))
    for at in ("2026-05-01 09:00", "2027-05-01 09:00"):
        assert flow.get(f"notes/{note}/", at=at, api=flow.ruth).status_code == 200
    assert flow.get(f"episodes/{flow.episode.pk}/", at="2026-05-01 09:00", api=flow.ruth).status_code == 404


# --- Versions and verification ------------------------------------------------------------------------------


def test_versions_stand_first_to_last(flow, note):
    """Each with its content, its signatures and what was decided on it, chained by digests."""
    first = digest_of(flow, note)
    flow.send_back(note, digest=first, reason="Which cues?", at=NOON)
    part = flow.read(note)["participation"]
    flow.put(part, [], at=NOON, note=note, HTTP_IF_MATCH=f'"{flow.read(note)["version"]}"')
    flow.sign(note, at=f"{DAY} 12:30")
    flow.cosign(note, digest=digest_of(flow, note), at=f"{DAY} 13:00")
    one, two = flow.ana.get(f"/api/v1/notes/{note}/versions/").json()["results"]
    assert [(v["number"], v["verdict"]["outcome"]) for v in (one, two)] == [(1, "returned"), (2, "cosigned")]
    assert (one["previous_digest"], two["previous_digest"]) == ("", first)
    assert [len(v["signatures"]) for v in (one, two)] == [1, 2]
    assert one["content"]["body"] == two["content"]["body"]


def test_versions_of_a_note_out_of_reach(flow, note):
    """404, as if there were none."""
    _, mia = flow.person("Mia Lund", Role.ASSISTANT)
    assert mia.get(f"/api/v1/notes/{note}/versions/").status_code == 404
    assert mia.get(f"/api/v1/documents/{note}/verify/").status_code == 404


def verified(flow, note) -> tuple[bool, list[tuple[bool, bool, bool]]]:
    told = flow.ana.get(f"/api/v1/documents/{note}/verify/").json()
    assert told["document"] == note
    checks = [(v["content_intact"], v["chain_intact"], v["signatures_intact"]) for v in told["versions"]]
    return told["intact"], checks


@pytest.fixture
def cosigned(flow, note):
    flow.cosign(note, digest=digest_of(flow, note), at=NOON)
    return note


def test_what_was_signed_is_verified(flow, cosigned):
    """A draft has nothing to verify; a co-signed version is intact in all that is checked."""
    draft = flow.put(flow.visit(DAY, start="13:00"), [], at=TEN)
    assert verified(flow, draft) == (True, [])
    assert verified(flow, cosigned) == (True, [(True, True, True)])


@pytest.mark.parametrize(
    ("statement", "checks"),
    [
        pytest.param(
            "UPDATE clinic_documentversion SET content = overlay(content PLACING 'x'::bytea FROM 20)",
            (False, True, True),
            id="another word in the content",
        ),
        pytest.param(
            "UPDATE clinic_documentversion SET digest = repeat('ab', 32)", (False, True, False), id="another digest"
        ),
        pytest.param(
            "UPDATE clinic_documentversion SET previous_digest = repeat('ab', 32)",
            (True, False, True),
            id="another predecessor",
        ),
        pytest.param("UPDATE clinic_documentversion SET number = 2", (True, False, True), id="a version is missing"),
        pytest.param(
            "UPDATE clinic_signature SET digest = repeat('ab', 32)",
            (True, True, False),
            id="a signature of something else",
        ),
        pytest.param(
            "DELETE FROM clinic_signature WHERE meaning = 'authorship'", (True, True, False), id="no author signed"
        ),
        pytest.param(
            "DELETE FROM clinic_signature WHERE meaning = 'cosignature'", (True, True, False), id="nobody co-signed"
        ),
    ],
)
def test_what_was_tampered_with_is_told(flow, cosigned, statement, checks):
    """Each change behind the service's back, triggers silenced, is found by the check that looks for it."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(statement)
        cursor.execute("SET LOCAL session_replication_role = origin")
    assert verified(flow, cosigned) == (False, [checks])


def test_a_content_with_its_digest_replaced_is_told_by_the_signature(flow, cosigned):
    """A forger who also computes the digest anew still lacks the signatures over it."""
    version = DocumentVersion.objects.get()
    content = bytes(version.content).replace(b"Seated", b"Standing")
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            "UPDATE clinic_documentversion SET content = %s, digest = %s",
            [content, hashlib.sha256(content).hexdigest()],
        )
        cursor.execute("SET LOCAL session_replication_role = origin")
    assert json.loads(content)["body"]["objective"].startswith("Standing")
    assert verified(flow, cosigned) == (False, [(True, True, False)])


def test_a_wrong_pin_decides_nothing(flow, note):
    """403, a miss of hers, and the note waits on."""
    with time_machine.travel(make.at(NOON), tick=False):
        answer = flow.ruth.post(
            f"/api/v1/notes/{note}/cosign/",
            {"pin": PIN[::-1], "digest": digest_of(flow, note)},
            format="json",
            HTTP_IDEMPOTENCY_KEY=make.new_id(),
        )
    assert (answer.status_code, answer.json()["code"]) == (403, "wrong_pin")
    assert not Verdict.objects.exists()


@pytest.mark.parametrize("act", ["cosign", "return"])
def test_a_verdict_needs_a_key_and_is_given_once_under_it(flow, note, act):
    """400 without; a repeat answers the first answer."""
    body = {"digest": flow.open(note, at=NOON).json()["current"]["digest"], **reason(act)}
    with time_machine.travel(make.at(NOON), tick=False):
        bare = flow.ruth.post(f"/api/v1/notes/{note}/{act}/", {"pin": PIN, **body}, format="json")
    assert (bare.status_code, bare.json()["code"]) == (400, "idempotency_key_required")
    key = make.new_id()
    first, again = (flow.act(flow.ruth, note, act, body, at=NOON, HTTP_IDEMPOTENCY_KEY=key) for _ in range(2))
    assert (first.status_code, again.status_code, again["Idempotency-Replayed"]) == (200, 200, "true")
    assert (again.content, Verdict.objects.count()) == (first.content, 1)
