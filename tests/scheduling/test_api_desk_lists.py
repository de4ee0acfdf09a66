"""The caseload and the co-sign queue: which rows, in which order, with which counts."""

from datetime import date, timedelta

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import Document, DocumentFlag, Episode, Supervision
from tests import factories as make
from tests.clinic.asking import cost_of
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

TUESDAY = "2026-03-31"
NOON = f"{TUESDAY} 12:00"


@pytest.fixture
def flow():
    return Flow()


def caseload(flow, *, at: str = NOON, api=None, **asked) -> list[dict]:
    answer = flow.get("caseload/", at=at, api=api, **asked)
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_the_counts_of_a_child(flow):
    """Goals, visits of this week from Monday to Sunday, the next and the last visit, notes and co-signatures."""
    goal = flow.goal_of_ten(baseline=[3], needed=8)
    for day, successes in (("2026-03-03", 8), ("2026-03-10", 9), ("2026-03-17", 8)):
        flow.signed_visit(day, successes=successes, goal=goal)
    flow.deliver()
    flow.step(flow.visit("2026-03-29"), "finish", at="2026-03-29 10:00")  # Sunday: last week
    flow.put(flow.visit("2026-03-30"), [], at="2026-03-30 10:00")
    flow.step(flow.visit("2026-03-30", start="13:00"), "finish", at="2026-03-30 14:00")
    flow.step(flow.visit("2026-03-31", start="08:00"), "no-show", at="2026-03-31 08:30", cause="client")
    coming = flow.book("2026-04-02 15:00", at=NOON)
    flow.book("2026-04-09 15:00", at=NOON)
    flow.step(flow.book("2026-04-05 15:00", at=NOON).json()["children"][0]["id"], "cancel", at=NOON, cause="client")
    assert caseload(flow) == [
        {
            "episode": str(flow.episode.pk),
            "client": str(flow.child.pk),
            "given_name": "Mirela",
            "family_name": "Oduya",
            "birth_date": "2021-05-17",
            "setting": "outpatient",
            "status": "active",
            "site": str(flow.site.pk),
            "goals_active": 1,
            "goals_met": 1,
            "goals_met_preliminary": 1,
            "visits_held_this_week": 1,
            "visits_missed_this_week": 2,
            "next_visit_at": coming.json()["starts_at"],
            "last_visit_on": "2026-03-30",
            "notes_unsigned": 1,
            "cosignatures_waiting": 3,
        }
    ]


def test_the_next_visit_is_ahead(flow):
    """A booked visit of this morning that nobody closed is not the next one."""
    flow.book(f"{TUESDAY} 08:00", at="2026-03-30 09:00")
    later = flow.book(f"{TUESDAY} 15:00", at="2026-03-30 09:00").json()
    assert caseload(flow)[0]["next_visit_at"] == later["starts_at"]


def test_whose_caseload(flow):
    """The assistant's children; her supervisor's own and her assistants'; the administrator's all; not the desk's."""
    mia, mia_api = flow.person("Mia Lund", Role.THERAPIST)
    theirs = flow.another_child("Teo", mia)
    hers, other = str(flow.episode.pk), str(theirs.pk)
    _, ida = flow.person("Ida Roth", Role.ADMINISTRATOR)
    assert [row["episode"] for row in caseload(flow)] == [hers]
    assert [row["episode"] for row in caseload(flow, api=flow.ruth)] == [hers]
    assert [row["episode"] for row in caseload(flow, api=mia_api)] == [other]
    assert {row["episode"] for row in caseload(flow, api=ida)} == {hers, other}
    _, desk = flow.person("Lin Sato", Role.FRONT_DESK)
    assert flow.get("caseload/", at=NOON, api=desk).status_code == 403


def test_closed_episodes_are_no_caseload(flow):
    """Planned and held ones are, finished and cancelled ones are not."""
    for status, shown in (("planned", 1), ("onhold", 1), ("active", 1), ("finished", 0), ("cancelled", 0)):
        closed = None if shown else "2026-03-01"
        Episode.objects.filter(pk=flow.episode.pk).update(status=status, closed_on=closed)
        assert len(caseload(flow)) == shown, status


def test_the_caseload_by_name_and_page(flow):
    """Family name, given name; pages forwards and backwards show each row once."""
    for family, given in (("Abel", "Zoe"), ("Zorn", "Ada"), ("Abel", "Ben"), ("Öz", "Cem")):
        child = make.make_client(flow.site, given_name=given, family_name=family)
        make.put_on_team(flow.assistant, make.make_episode(child))
    names = [(row["family_name"], row["given_name"]) for row in caseload(flow)]
    assert names[:2] == [("Abel", "Ben"), ("Abel", "Zoe")]
    assert len(names) == 5
    seen, url = [], "/api/v1/caseload/?page_size=2"
    with time_machine.travel(make.at(NOON), tick=False):
        while url:
            page = flow.ana.get(url).json()
            seen += [(row["family_name"], row["given_name"]) for row in page["results"]]
            previous, url = page["previous"], page["next"]
        assert [row["given_name"] for row in flow.ana.get(previous).json()["results"]] == [n for _, n in names[2:4]]
    assert seen == names


def test_the_caseload_costs_the_same_for_six_rows(flow):
    """One row or six, the same number of queries."""
    one = cost_of(flow.ana, "/api/v1/caseload/")
    for number in range(5):
        flow.another_child(f"Child {number}")
    six = cost_of(flow.ana, "/api/v1/caseload/")
    assert (one[0], six[0]) == (1, 6)
    assert one[1] == six[1]


# --- The co-sign queue --------------------------------------------------------------------------------------


def signed(flow, day: str, *, at: str) -> str:
    note = flow.put(flow.visit(day), [], at=at)
    flow.sign(note, at=at)
    return note


def queue(flow, *, at: str, api=None) -> list[dict]:
    answer = flow.get("cosign-queue/", at=at, api=api or flow.ruth)
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_the_queue_puts_first_what_needs_her_most(flow):
    """Overdue ones, then flagged ones, then what is due first; the day of the visit does not count."""
    flagged = signed(flow, "2026-03-10", at="2026-03-19 12:00")
    overdue = signed(flow, "2026-03-12", at="2026-03-12 17:00")
    later = signed(flow, "2026-03-16", at="2026-03-17 17:00")
    sooner = signed(flow, "2026-03-17", at="2026-03-17 16:00")
    soonest = signed(flow, "2026-03-13", at="2026-03-16 17:00")
    rows = queue(flow, at="2026-03-20 08:00")
    assert [row["document"] for row in rows] == [overdue, flagged, soonest, *sorted([sooner, later])]
    assert [row["overdue"] for row in rows] == [True, False, False, False, False]
    assert [row["flags"] for row in rows] == [0, 1, 0, 0, 0]
    assert rows[0]["cosign_due_at"] == "2026-03-20T05:00:00Z"


def test_a_row_of_the_queue_says_what_is_signed(flow):
    """Whose note of which child and day, which version, since when; its digest is the one to send."""
    note = signed(flow, "2026-03-12", at="2026-03-12 17:00")
    shown = flow.read(note)
    (row,) = queue(flow, at="2026-03-13 08:00")
    assert row == {
        "document": note,
        "kind": "visit_note",
        "version": 2,
        "service_date": "2026-03-12",
        "cosign_due_at": "2026-03-20T05:00:00Z",
        "overdue": False,
        "episode": str(flow.episode.pk),
        "client": str(flow.child.pk),
        "given_name": "Mirela",
        "family_name": "Oduya",
        "author": str(flow.assistant.pk),
        "author_name": "Ana Brandt",
        "number": 1,
        "digest": shown["current"]["digest"],
        "signed_at": "2026-03-12T22:00:00Z",
        "flags": 0,
        "owner": str(flow.supervisor.pk),
        "flagged": [],
        "opened_at": None,
        "flagged_since_opened": False,
        "returned_because": None,
    }
    assert flow.cosign(note, digest=row["digest"], at="2026-03-13 09:00").status_code == 200
    assert queue(flow, at="2026-03-13 10:00") == []


def test_overdue_begins_at_local_midnight(flow):
    """The last timely day is the supervisor's to its end in the site's zone."""
    signed(flow, "2026-03-12", at="2026-03-12 17:00")
    midnight = make.at("2026-03-20 00:00")
    for moment, overdue in ((midnight - timedelta(seconds=1), False), (midnight, True)):
        with time_machine.travel(moment, tick=False):
            (row,) = flow.ruth.get("/api/v1/cosign-queue/").json()["results"]
        assert row["overdue"] is overdue


def test_whose_queue(flow):
    """Another therapist's is empty though the child is in her reach; an assistant and the office have none."""
    signed(flow, "2026-03-12", at="2026-03-12 17:00")
    mia, mia_api = flow.person("Mia Lund", Role.THERAPIST)
    make.put_on_team(mia, flow.episode)
    assert queue(flow, at="2026-03-13 08:00", api=mia_api) == []
    _, ida = flow.person("Ida Roth", Role.ADMINISTRATOR)
    for api in (flow.ana, ida):
        assert flow.get("cosign-queue/", at="2026-03-13 08:00", api=api).status_code == 403
    for api in (flow.ana, flow.ruth):
        assert flow.get("cosign-queue/unassigned/", at="2026-03-13 08:00", api=api).status_code == 403


def test_the_queue_of_another_organization(flow):
    """Its administrator sees none of these notes."""
    Supervision.objects.all().delete()
    note = signed(flow, "2026-03-12", at="2026-03-12 17:00")
    elsewhere = Flow()
    _, ida = flow.person("Ida Roth", Role.ADMINISTRATOR)
    _, theirs = elsewhere.person("Olga Frey", Role.ADMINISTRATOR)
    url = "cosign-queue/unassigned/"
    assert [row["document"] for row in flow.get(url, at=NOON, api=ida).json()["results"]] == [note]
    assert flow.get(url, at=NOON, api=theirs).json()["results"] == []


def test_the_queue_costs_the_same_for_six_rows(flow):
    """One row or six, the same number of queries; pages show each row once, in order."""
    notes = [signed(flow, "2026-03-02", at="2026-03-02 12:00")]
    one = cost_of(flow.ruth, "/api/v1/cosign-queue/")
    for day in range(3, 8):
        notes.append(signed(flow, f"2026-03-{day:02}", at=f"2026-03-{day:02} 12:00"))
    six = cost_of(flow.ruth, "/api/v1/cosign-queue/")
    assert (one[0], six[0]) == (1, 6)
    assert one[1] == six[1]
    seen, url = [], "/api/v1/cosign-queue/?page_size=4"
    while url:
        page = flow.ruth.get(url).json()
        seen += [row["document"] for row in page["results"]]
        url = page["next"]
    assert seen == notes


def test_the_gravest_flag_comes_first(flow):
    """A warning before a notice, a notice before none, each told in a sentence, the gravest first."""
    plain, noticed, warned = (signed(flow, f"2026-03-{day}", at="2026-03-12 12:00") for day in (10, 11, 12))
    for note, severity in ((noticed, "notice"), (warned, "notice"), (warned, "warning")):
        version = Document.objects.get(pk=note).current_version
        check, told = f"a_{severity}", "" if severity == "notice" else "Something is wrong."
        DocumentFlag.objects.create(
            organization=flow.organization, version=version, check_name=check, severity=severity, sentence=told
        )
    rows = queue(flow, at="2026-03-13 13:00")
    assert [row["document"] for row in rows] == [warned, noticed, plain]
    assert rows[0]["flagged"] == [
        {"check": "a_warning", "severity": "warning", "sentence": "Something is wrong."},
        {"check": "a_notice", "severity": "notice", "sentence": "a notice"},
    ]


def test_what_turns_overdue_between_two_pages_is_shown_once(flow):
    """The order of a listing is that of the moment in which it began; what is overdue is said as of now."""
    notes = [signed(flow, f"2026-03-{day}", at=f"2026-03-{day} 12:00") for day in range(10, 14)]
    with time_machine.travel(make.at("2026-03-17 23:59"), tick=False):
        first = flow.ruth.get("/api/v1/cosign-queue/?page_size=2").json()
    with time_machine.travel(make.at("2026-03-21 00:01"), tick=False):
        second = flow.ruth.get(first["next"]).json()
        back = flow.ruth.get(second["previous"]).json()
    assert [row["document"] for row in first["results"] + second["results"]] == notes
    assert back["results"] == [{**row, "overdue": True} for row in first["results"]]
    assert [row["overdue"] for row in second["results"]] == [True, True]
    with time_machine.travel(make.at("2026-03-19 00:01"), tick=False):
        third = flow.ruth.get(first["next"]).json()
    assert [(row["document"], row["overdue"]) for row in third["results"]] == [(notes[2], False), (notes[3], False)]


def test_whoever_covers_sees_the_days_of_her_cover(flow):
    """From the first to the last day, of children in her reach; the owner's queue keeps them."""
    inside, outside = (signed(flow, f"2026-03-{day}", at=f"2026-03-{day} 17:00") for day in (12, 11))
    cover, api = flow.person("Oda Wirt", Role.THERAPIST)
    make.make_supervision(
        flow.assistant, cover, kind="covering", starts_on=date(2026, 3, 12), ends_on=date(2026, 3, 13)
    )
    (row,) = queue(flow, at="2026-03-13 08:00", api=api)
    assert (row["document"], row["owner"]) == (inside, str(flow.supervisor.pk))
    assert {row["document"] for row in queue(flow, at="2026-03-13 08:00")} == {inside, outside}
    assert flow.open(inside, at="2026-03-13 08:00", api=api).status_code == 200
    assert queue(flow, at="2026-03-14 08:00", api=api) == []
    assert flow.open(inside, at="2026-03-14 08:00", api=api).status_code == 404


def test_the_office_reads_no_clinical_word(flow):
    """Of what nobody is there to co-sign it is told whose, when and how many flags, not what they say."""
    Supervision.objects.all().delete()
    signed(flow, "2026-03-12", at="2026-03-12 17:00")
    _, ida = flow.person("Ida Roth", Role.ADMINISTRATOR)
    (row,) = flow.get("cosign-queue/unassigned/", at=NOON, api=ida).json()["results"]
    assert row["flags"] == 1
    assert not {"flagged", "returned_because"} & set(row)
