"""S2: the supervisor changes in the middle of a plan; who co-signs is decided by the day of the visit."""

from datetime import date, datetime

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import CareTeam, ChangeFeed, Document, OutboxMessage, Signature, Staff, Supervision, Verdict
from clinic.rules.signing_limits import sign_limit, turnaround_days
from clinic.services import documents
from scheduling.services import later_checks
from tests import factories as make
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db
CUES = "Two spoken cues, then none."


class TwoSupervisors(Flow):
    """Ruth supervises Ana to Sunday 15 March, Sol from the day that is given; neither treats the child."""

    def __init__(self, *, sol_from: date = date(2026, 3, 16)) -> None:
        super().__init__()
        CareTeam.objects.filter(staff=self.supervisor).delete()
        Supervision.objects.filter(assistant=self.assistant).update(ends_on=date(2026, 3, 15))
        self.second, self.sol = self.person("Sol Varga", Role.THERAPIST)
        make.make_supervision(self.assistant, self.second, starts_on=sol_from)
        self.desk, self.ida = self.person("Ida Roth", Role.ADMINISTRATOR)

    def held(self, day: str) -> str:
        """A visit that took place, with its note as a draft; the note's id."""
        return self.put(self.visit(day), [], at=f"{day} 10:00")

    def queue(self, api, *, at: str, which: str = "cosign-queue/") -> set[tuple[str, int]]:
        answer = self.get(which, at=at, api=api)
        assert answer.status_code == 200, answer.content
        return {(row["document"], row["number"]) for row in answer.json()["results"]}

    def digest(self, note: str) -> str:
        return self.read(note)["current"]["digest"]

    def flags(self, note: str) -> dict[str, dict]:
        return {flag["check"]: flag["facts"] for flag in self.read(note)["current"]["flags"]}


@pytest.fixture
def flow():
    return TwoSupervisors()


def written() -> tuple[int, ...]:
    return tuple(model.objects.count() for model in (Verdict, Signature, OutboxMessage, ChangeFeed))


def instant(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def test_the_day_of_the_visit_says_who_cosigns(flow):
    """Ruth's queue holds her days, Sol's hers; the one cannot co-sign the other's; a handover act bridges a leaving."""
    zone = make.at("2026-03-12 09:00").tzinfo
    v0 = flow.held("2026-03-10")
    v1 = flow.held("2026-03-12")
    flow.sign(v1, at="2026-03-12 17:00")
    assert instant(flow.read(v1)["cosign_due_at"]) == make.at("2026-03-20 00:00")  # 19 March is the last timely day
    v2 = flow.held("2026-03-13")
    returned = flow.send_back(v1, digest=flow.digest(v1), reason="Which cues were given?", at="2026-03-14 11:00")
    assert (returned.status_code, returned.json()["state"]) == (200, "returned")
    v3 = flow.held("2026-03-16")
    flow.sign(v3, at="2026-03-16 17:00")

    part = flow.read(v1)["participation"]
    flow.put(part, [], at="2026-03-17 16:00", note=v1, plan=CUES, HTTP_IF_MATCH=f'"{flow.read(v1)["version"]}"')
    flow.sign(v1, at="2026-03-17 16:05")
    flow.sign(v2, at="2026-03-17 16:10")
    assert sign_limit(date(2026, 3, 13), business_days=2) == date(2026, 3, 17)
    assert (flow.flags(v1), flow.flags(v2)) == ({}, {})  # both in time: V1 by its first signature
    assert instant(flow.read(v1)["cosign_due_at"]) == make.at("2026-03-25 00:00")  # 24 March

    assert flow.queue(flow.ruth, at="2026-03-17 18:00") == {(v1, 2), (v2, 1)}
    assert flow.queue(flow.sol, at="2026-03-17 18:00") == {(v3, 1)}

    read = flow.open(v1, at="2026-03-17 18:05").json()["difference"]
    assert (read["from_version"], read["returned_because"]) == (1, "Which cues were given?")
    assert [(change["pointer"], change["after"]) for change in read["changes"]] == [("/plan", CUES)]

    before = (written(), flow.read(v2)["version"])
    refused = flow.cosign(v2, digest=flow.digest(v2), at="2026-03-18 09:00", api=flow.sol)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_supervisor_on_visit_day")
    assert (written(), flow.read(v2)["version"]) == before

    for note in (v1, v2):
        answer = flow.cosign(note, digest=flow.digest(note), at="2026-03-18 10:00")
        assert (answer.status_code, answer.json()["state"]) == (200, "cosigned")
    assert flow.queue(flow.ruth, at="2026-03-18 11:00") == set()
    first = Signature.objects.filter(version__document=v1, meaning="authorship").order_by("signed_at").first()
    verdict = Verdict.objects.get(version__document=v1, outcome="cosigned")
    assert turnaround_days(first.signed_at, verdict.at, zone=zone) == 6
    assert flow.read(v1)["turnaround_days"] == 6

    leave(flow, "2026-03-31")
    late = flow.sign(v0, at="2026-04-02 12:00").json()
    assert late["current"]["flags"][0]["sentence"] == (
        "late entry, 23 days after the visit, 21 past the limit (12 Mar)"
    )
    assert late["cosign_owner"] is None
    unassigned = "cosign-queue/unassigned/"
    assert flow.queue(flow.ida, at="2026-04-02 13:00", which=unassigned) == {(v0, 1)}
    assert flow.get(unassigned, at="2026-04-02 13:00", api=flow.sol).status_code == 403
    too_soon = flow.cosign(v0, digest=flow.digest(v0), at="2026-04-02 13:30", api=flow.sol)
    assert (too_soon.status_code, too_soon.json()["code"]) == (403, "not_supervisor_on_visit_day")

    hand_over(flow, at="2026-04-02 14:00")
    with time_machine.travel(make.at("2026-04-02 14:05"), tick=False):
        flow.hand_on()
    assert flow.queue(flow.ida, at="2026-04-02 14:10", which=unassigned) == set()
    assert flow.queue(flow.sol, at="2026-04-02 14:10") == {(v0, 1), (v3, 1)}
    answer = flow.cosign(v0, digest=flow.digest(v0), at="2026-04-02 15:00", api=flow.sol)
    assert answer.status_code == 200
    cosigned = next(s for s in answer.json()["current"]["signatures"] if s["meaning"] == "cosignature")
    assert cosigned["printed_name"] == "Sol Varga, in succession to Ruth Imber"
    assert cosigned["in_succession_to"] == str(flow.supervisor.pk)


def leave(flow, day: str) -> None:
    with time_machine.travel(make.at(f"{day} 17:00"), tick=False):
        version = Staff.objects.get(pk=flow.supervisor.pk).version
        answer = flow.ida.patch(
            f"/api/v1/staff/{flow.supervisor.pk}/", {"left_on": day}, format="json", HTTP_IF_MATCH=f'"{version}"'
        )
    assert answer.status_code == 200, answer.content


def hand_over(flow, *, at: str) -> None:
    with time_machine.travel(make.at(at), tick=False):
        answer = flow.ida.post(
            "/api/v1/successions/",
            {
                "former": str(flow.supervisor.pk),
                "successor": str(flow.second.pk),
                "starts_on": "2026-04-01",
                "reason": "Ruth has left the practice",
            },
            format="json",
        )
    assert answer.status_code == 201, answer.content


def test_a_waiting_cosignature_moves_when_its_owner_leaves(flow):
    """What Ruth owed when she left goes to the administrator's list, and her login opens nothing any more."""
    note = flow.held("2026-03-12")
    flow.sign(note, at="2026-03-12 17:00")
    leave(flow, "2026-03-31")
    with time_machine.travel(make.at("2026-03-31 20:00"), tick=False):
        assert documents.reassign_everywhere(now=make.at("2026-03-31 20:00")) == 0  # her last day is hers
    assert documents.reassign_everywhere(now=make.at("2026-04-01 00:15")) == 1
    assert Document.objects.get(pk=note).cosign_owner_id is None
    assert flow.queue(flow.ida, at="2026-04-01 09:00", which="cosign-queue/unassigned/") == {(note, 1)}
    answer = flow.cosign(note, digest=flow.digest(note), at="2026-04-01 09:00")
    assert answer.status_code == 403, answer.content
    assert not Verdict.objects.exists()


def test_days_without_supervision_are_recorded_and_flagged():
    """Nobody supervises on 16 and 17 March: booked ahead it is refused; what took place is signed and flagged."""
    flow = TwoSupervisors(sol_from=date(2026, 3, 18))
    ahead = flow.book("2026-03-16 09:00", at="2026-03-13 12:00")
    assert (ahead.status_code, ahead.json()["code"]) == (422, "no_supervision_on_day")
    assert flow.book("2026-03-18 09:00", at="2026-03-13 12:00").status_code == 201

    v3 = flow.held("2026-03-16")
    signed = flow.sign(v3, at="2026-03-16 17:00").json()
    assert (signed["state"], signed["cosign_owner"]) == ("signed", None)
    assert flow.flags(v3) == {"no_supervision_on_day": {"service_date": "2026-03-16"}}
    assert signed["current"]["flags"][0]["severity"] == "warning"
    row = flow.get("cosign-queue/unassigned/", at="2026-03-18 09:00", api=flow.ida).json()["results"][0]
    assert (row["document"], row["service_date"], row["flags"]) == (v3, "2026-03-16", 1)
    refused = flow.cosign(v3, digest=flow.digest(v3), at="2026-03-18 09:00", api=flow.sol)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_supervisor_on_visit_day")
    ledger = flow.get(
        f"staff/{flow.assistant.pk}/supervision-ledger/",
        at="2026-03-18 09:00",
        api=flow.ida,
        starts_on="2026-03-01",
        ends_on="2026-03-31",
    ).json()
    assert ledger["unassigned_days"] == ["2026-03-16", "2026-03-17"]
    assert ledger["sentence"] == "2 days without an assignment"


def test_whoever_covered_the_day_cosigns_it(flow):
    """Oda covers on 12 and 13 March: she may co-sign V1 as Ruth may, once; V3 of the 16th she may not."""
    cover, oda = flow.person("Oda Wirt", Role.THERAPIST)
    make.make_supervision(
        flow.assistant, cover, kind="covering", starts_on=date(2026, 3, 12), ends_on=date(2026, 3, 16)
    )
    Supervision.objects.filter(supervisor=cover).update(ends_on=date(2026, 3, 13))
    v1, v3 = flow.held("2026-03-12"), flow.held("2026-03-16")
    flow.sign(v1, at="2026-03-13 08:00")
    flow.sign(v3, at="2026-03-16 17:00")
    assert flow.queue(oda, at="2026-03-13 09:00") == {(v1, 1)}
    covered = flow.cosign(v1, digest=flow.digest(v1), at="2026-03-13 09:00", api=oda)
    assert (covered.status_code, covered.json()["state"]) == (200, "cosigned")
    printed = [signature["printed_name"] for signature in covered.json()["current"]["signatures"]]
    assert printed == ["Ana Brandt", "Oda Wirt"]
    again = flow.cosign(v1, digest=flow.digest(v1), at="2026-03-13 10:00")
    assert (again.status_code, again.json()["code"]) == (409, "already_cosigned")
    make.put_on_team(cover, flow.episode)
    refused = flow.cosign(v3, digest=flow.digest(v3), at="2026-03-17 09:00", api=oda)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_supervisor_on_visit_day")


def test_the_narrowest_assignment_of_the_day_cosigns(flow):
    """Sol answers for this episode alone from the 12th, Ruth for all else: V1 is Sol's, however wide Ruth's reaches."""
    make.make_supervision(
        flow.assistant,
        flow.second,
        scope="episode",
        episode=flow.episode,
        starts_on=date(2026, 3, 12),
        ends_on=date(2026, 3, 15),
    )
    v0, v1 = flow.held("2026-03-10"), flow.held("2026-03-12")
    for note in (v0, v1):
        flow.sign(note, at="2026-03-12 17:00")
    assert flow.queue(flow.ruth, at="2026-03-12 18:00") == {(v0, 1)}
    assert flow.queue(flow.sol, at="2026-03-12 18:00") == {(v1, 1)}
    make.put_on_team(flow.supervisor, flow.episode)
    refused = flow.cosign(v1, digest=flow.digest(v1), at="2026-03-12 18:00")
    assert (refused.status_code, refused.json()["code"]) == (403, "not_supervisor_on_visit_day")
    assert flow.cosign(v1, digest=flow.digest(v1), at="2026-03-12 18:00", api=flow.sol).status_code == 200


def test_what_is_flagged_after_she_read_it_waits_alone(flow):
    """Ruth opens V1 and V2; V2 is found to be V1 over again; of both sent at once only V1 is co-signed."""
    text = (
        "Mia sat on the bench swing and fastened four large buttons, resting twice, then asked for the small ones "
        "and kept on until the song was over."
    )
    notes = []
    for day in ("2026-03-12", "2026-03-13"):
        note = flow.put(flow.visit(day), [], at=f"{day} 10:00", plan=text)
        flow.sign(note, at=f"{day} 17:00")
        flow.open(note, at="2026-03-14 09:00")
        notes.append(note)
    for note in notes:
        later_checks.check_document(note, now=make.at("2026-03-14 09:01"))
    sent = [{"document": note, "digest": flow.digest(note)} for note in notes]
    with time_machine.travel(make.at("2026-03-14 09:05"), tick=False):
        answer = flow.ruth.post(
            "/api/v1/cosign-queue/cosign/",
            {"pin": PIN, "items": sent},
            format="json",
            HTTP_IDEMPOTENCY_KEY=make.new_id(),
        )
    results = {row["document"]: (row["outcome"], row["code"]) for row in answer.json()["results"]}
    assert results == {notes[0]: ("cosigned", ""), notes[1]: ("refused", "flagged_since_opened")}
    (flag,) = flow.open(notes[1], at="2026-03-14 09:10").json()["current"]["flags"]
    assert (flag["facts"]["share"], flag["refers_to"]) == (100, notes[0])


def test_only_the_author_may_sign_though_another_knows_her_pin(flow):
    """Ruth is in reach of Ana's draft; her own right PIN does not sign it."""
    note = flow.held("2026-03-12")
    version = flow.read(note)["version"]
    answer = flow.act(flow.ruth, note, "sign", {"pin": PIN}, at="2026-03-12 17:00", HTTP_IF_MATCH=f'"{version}"')
    assert answer.status_code == 403
    assert Document.objects.get(pk=note).state == "draft"
