"""A version is opened before it is co-signed: who fetched it, when, with which flags, and what is refused else."""

from datetime import date

import pytest
import time_machine
from django.db import transaction

from clinic.enums import FlagSeverity, Role
from clinic.models import Document, Signature, Verdict, VersionOpening
from clinic.rules.flags import Flag
from clinic.services.flags import raise_flags
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
TEN, NOON, LATER = f"{DAY} 10:00", f"{DAY} 12:00", f"{DAY} 12:05"
CHECK = Flag("value_far_out", FlagSeverity.WARNING, {"value": "0.1"}, subject="a goal", sentence="Far out.")


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def note(flow):
    note = flow.put(flow.visit(DAY), [], at=TEN)
    flow.sign(note, at=f"{DAY} 10:05")
    return note


def cosign(flow, note, *, at: str, api=None, digest: str | None = None):
    """A co-signature as it is sent, whether or not she opened anything."""
    digest = digest or flow.read(note)["current"]["digest"]
    return flow.act(api or flow.ruth, note, "cosign", {"digest": digest}, at=at)


def flag(note, *, at: str, found: Flag = CHECK) -> int:
    with transaction.atomic():
        row = Document.objects.select_for_update(of=("self",)).get(pk=note)
        return raise_flags(document=row, found=[found], now=make.at(at))


def openings() -> list[tuple]:
    return list(VersionOpening.objects.order_by("opened_at").values_list("staff__printed_name", "flags_shown"))


def test_what_was_not_opened_is_not_cosigned(flow, note):
    """409 with its own code and nothing written, though the digest is right; once it is opened it passes."""
    refused = cosign(flow, note, at=NOON)
    assert (refused.status_code, refused.json()["code"]) == (409, "not_opened")
    assert not Verdict.objects.exists()
    assert Signature.objects.count() == 1
    flow.open(note, at=NOON)
    assert cosign(flow, note, at=LATER).status_code == 200


def test_the_time_from_opening_to_signing_is_kept(flow, note):
    """From the first time that she fetched it, however often she looked again."""
    for at in (NOON, f"{DAY} 12:03"):
        flow.open(note, at=at)
    told = cosign(flow, note, at=LATER).json()["current"]["verdict"]
    assert (told["opened_at"], told["seconds_from_opening"]) == ("2026-03-31T17:00:00Z", 300)
    assert openings() == [("Ruth Imber", 0)]
    assert VersionOpening.objects.get().opened_at == make.at(NOON)


def test_another_persons_opening_is_not_hers(flow, note):
    """A colleague who may co-sign as well opened it; the supervisor has not."""
    cover, api = flow.person("Oda Wirt", Role.THERAPIST)
    make.put_on_team(cover, flow.episode)
    make.make_supervision(flow.assistant, cover, kind="covering", starts_on=date(2026, 3, 31))
    flow.open(note, at=NOON, api=api)
    assert cosign(flow, note, at=LATER).json()["code"] == "not_opened"
    assert cosign(flow, note, at=LATER, api=api).status_code == 200


def test_a_list_opens_nothing(flow, note):
    """Neither the queue nor the list of notes counts as having read this one; its versions do."""
    flow.get("cosign-queue/", at=NOON, api=flow.ruth)
    flow.get("notes/", at=NOON, api=flow.ruth)
    with time_machine.travel(make.at(NOON), tick=False):
        flow.ruth.head(f"/api/v1/notes/{note}/")
    assert openings() == []
    flow.get(f"notes/{note}/versions/", at=NOON, api=flow.ruth)
    assert openings() == [("Ruth Imber", 0)]


def test_whose_fetching_is_kept(flow, note):
    """The author's is not, nor a colleague's who co-signs nothing; a therapist's is, who may come to be asked."""
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    sol, sol_api = flow.person("Sol Varga", Role.THERAPIST)
    for person in (mia, sol):
        make.put_on_team(person, flow.episode)
    for api in (flow.ana, mia_api, sol_api):
        assert flow.open(note, at=NOON, api=api).status_code == 200
    assert openings() == [("Sol Varga", 0)]


def test_what_does_not_wait_is_not_opened(flow, note):
    """A draft has no version to open, and what is co-signed waits no more."""
    draft = flow.put(flow.visit(DAY, start="13:00"), [], at=TEN)
    flow.open(draft, at=NOON)
    assert openings() == []
    flow.cosign(note, digest=flow.read(note)["current"]["digest"], at=NOON)
    sol, sol_api = flow.person("Sol Varga", Role.THERAPIST)
    make.put_on_team(sol, flow.episode)
    flow.open(note, at=LATER, api=sol_api)
    assert openings() == [("Ruth Imber", 0)]


def test_what_was_flagged_since_is_opened_again(flow, note):
    """409, the queue says so, the ETag is another; a second look with the flag passes, counted from the first one."""
    before = flow.open(note, at=NOON)
    assert flag(note, at=f"{DAY} 12:01") == 1
    (row,) = flow.get("cosign-queue/", at=LATER, api=flow.ruth).json()["results"]
    assert (row["opened_at"], row["flagged_since_opened"]) == ("2026-03-31T17:00:00Z", True)
    assert row["flagged"] == [{"check": "value_far_out", "severity": "warning", "sentence": "Far out."}]
    refused = cosign(flow, note, at=LATER)
    assert (refused.status_code, refused.json()["code"]) == (409, "flagged_since_opened")
    assert not Verdict.objects.exists()

    again = flow.open(note, at=LATER)
    assert again["ETag"] != before["ETag"]
    (told,) = again.json()["current"]["flags"]
    assert (told["sentence"], told["raised_at"]) == ("Far out.", "2026-03-31T17:01:00Z")
    verdict = cosign(flow, note, at=f"{DAY} 12:10").json()["current"]["verdict"]
    assert verdict["seconds_from_opening"] == 600
    assert openings() == [("Ruth Imber", 0), ("Ruth Imber", 1)]


def test_a_flag_is_raised_once(flow, note):
    """Found again it is the same flag: nothing is written, and nobody is asked to look again."""
    assert flag(note, at=NOON) == 1
    version = Document.objects.get(pk=note).version
    assert flag(note, at=LATER) == 0
    assert Document.objects.get(pk=note).version == version


def test_the_next_version_is_opened_anew(flow, note):
    """Having read the first version is not having read the second."""
    first = flow.open(note, at=NOON).json()["current"]["digest"]
    flow.send_back(note, digest=first, reason="Which cues?", at=NOON)
    part = flow.read(note)["participation"]
    match = {"HTTP_IF_MATCH": f'"{flow.read(note)["version"]}"'}
    flow.put(part, [], at=NOON, note=note, objective="Seated at the table, two spoken cues.", **match)
    flow.sign(note, at=f"{DAY} 12:30")
    assert cosign(flow, note, at=f"{DAY} 12:40", digest=first).json()["code"] == "version_changed"
    assert cosign(flow, note, at=f"{DAY} 12:40").json()["code"] == "not_opened"
    (row,) = flow.get("cosign-queue/", at=f"{DAY} 12:40", api=flow.ruth).json()["results"]
    assert (row["number"], row["opened_at"], row["returned_because"]) == (2, None, "Which cues?")
    flow.open(note, at=f"{DAY} 12:45")
    assert cosign(flow, note, at=f"{DAY} 12:50").status_code == 200


def test_returning_keeps_when_she_opened_it(flow, note):
    """A return needs no opening, but its time is kept where there was one."""
    flow.open(note, at=NOON)
    digest = flow.read(note)["current"]["digest"]
    told = flow.send_back(note, digest=digest, reason="Which cues?", at=LATER).json()["current"]["verdict"]
    assert (told["opened_at"], told["seconds_from_opening"]) == ("2026-03-31T17:00:00Z", 300)


def test_a_clock_behind_another_machines_refuses_nothing(flow, note):
    """Opened by a clock that is ahead and signed by one that is behind: no time passed."""
    flow.open(note, at=LATER)
    told = cosign(flow, note, at=NOON).json()["current"]["verdict"]
    assert told["seconds_from_opening"] == 0
