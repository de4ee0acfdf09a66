"""The feed of changes through its door: from here on, what is in reach now, page by page."""

import re
from pathlib import Path

import pytest
import time_machine
from django.db import connection

from clinic.enums import Role
from clinic.models import AuditEvent, CareTeam, ChangeFeed
from clinic.selectors import changes as selectors
from scheduling.api import changes as door
from tests import factories as make
from tests.architecture.doors import BASE, every_route
from tests.scheduling.flow import Flow
from tests.tablets.applications import token_of

pytestmark = pytest.mark.django_db
TOP = Path(__file__).resolve().parents[2]
DAY = "2026-03-31"
NOON = f"{DAY} 12:00"
ANY = 2**62


@pytest.fixture(autouse=True)
def _certain(monkeypatch):
    """A test's own transaction is running, and nothing of it is certain; tests/concurrency/test_feed.py commits."""
    running = f"  AND change.transaction_id < ({selectors.HORIZON})\n"
    assert running in selectors.AFTER
    monkeypatch.setattr(selectors, "AFTER", selectors.AFTER.replace(running, ""))
    monkeypatch.setattr(selectors, "HIGHEST", f"SELECT {ANY}")
    monkeypatch.setattr(door, "position_now", here)


def here() -> selectors.Position:
    """The last change of this test's own transaction so far."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_current_xact_id()::text::bigint, COALESCE(max(seq), 0) FROM clinic_changefeed")
        return selectors.Position(*cursor.fetchone())


@pytest.fixture
def flow():
    return Flow()


def follow(flow, since="", *, api=None):
    answer = flow.get("changes/", at=NOON, api=api, **({"since": since} if since else {}))
    assert answer.status_code == 200, answer.content
    return answer.json()


def told(answer) -> list[tuple[str, str]]:
    return [(change["change"], change["path"].removeprefix(f"/{BASE}")) for change in answer["changes"]]


def test_from_here_on(flow):
    """Nothing at first; then what was written since, in its order, and where each is read; then nothing again."""
    begun = follow(flow)
    assert (begun["changes"], begun["more"]) == ([], False)
    part = flow.visit(DAY)
    visit = flow.part(part).visit_id
    note = flow.put(part, [], at=NOON)
    answer = follow(flow, begun["next"])
    place = CareTeam.objects.get(source_id=visit).pk
    assert told(answer) == [
        ("created", f"participations/{part}/"),
        ("created", f"care-team/{place}/"),
        ("created", f"visits/{visit}/"),
        ("created", f"notes/{note}/"),
        ("changed", f"visits/{visit}/"),
        ("changed", f"participations/{part}/"),
    ]
    assert answer["changes"][0]["client"] == str(flow.child.pk)
    assert told(follow(flow, answer["next"])) == []


def test_what_is_told_is_read_at_its_path(flow):
    """Each path answers whoever was told of it."""
    begun = follow(flow)
    flow.sign(flow.put(flow.visit(DAY), [], at=NOON), at=NOON)
    for change in follow(flow, begun["next"])["changes"]:
        assert flow.get(change["path"].removeprefix(f"/{BASE}"), at=NOON).status_code == 200, change


def test_reach_is_asked_now(flow):
    """Of a child who has left her reach nothing is told, even of changes made before; who has come is named."""
    begun = follow(flow)
    assert begun["reach"] == {
        "whole_organization": False,
        "clients": [str(flow.child.pk)],
        "episodes": [str(flow.episode.pk)],
    }
    part = flow.visit(DAY)
    CareTeam.objects.filter(staff=flow.assistant).delete()
    new = flow.another_child("Teo")
    answer = follow(flow, begun["next"])
    assert part not in str(answer["changes"])
    assert str(flow.child.pk) not in str(answer)
    assert answer["reach"]["episodes"] == [str(new.pk)]


def test_anothers_child_is_not_told_of(flow):
    """The same organization, another assistant's child: neither the visit nor the note, though they are in the feed."""
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    hers = flow.another_child("Teo", mia)
    begun = follow(flow)
    flow.put(flow.visit(DAY, api=mia_api, staff=mia, children=[{"episode": str(hers.pk)}]), [], at=NOON, api=mia_api)
    assert ChangeFeed.objects.count() > 3
    assert told(follow(flow, begun["next"])) == []


def test_an_administrator_reaches_the_whole_organization(flow):
    """She is told of schedules and of no note; another organization's changes are not hers."""
    _, boss = flow.person("Ida Roth", Role.ADMINISTRATOR)
    begun = follow(flow, api=boss)
    assert begun["reach"] == {"whole_organization": True, "clients": [], "episodes": []}
    flow.put(flow.visit(DAY), [], at=NOON)
    kinds = {change["record"] for change in follow(flow, begun["next"], api=boss)["changes"]}
    assert kinds == {"visit", "participation", "care_team"}
    elsewhere = make.signed_in(make.make_staff(make.make_organization(name="Elsewhere"), Role.ADMINISTRATOR))
    assert flow.get("changes/", at=NOON, api=elsewhere, since=begun["next"]).status_code == 400


@pytest.mark.parametrize(
    ("scope", "kinds"),
    [
        pytest.param("changes:read", set(), id="the feed alone"),
        pytest.param("changes:read visits:read", {"visit", "participation"}, id="visits as well"),
    ],
)
def test_an_application_is_told_what_it_may_read(flow, scope, kinds):
    """The right to follow the feed gives no other."""
    with time_machine.travel(make.at(NOON), tick=False):
        api = token_of(flow.assistant, scope)
    begun = follow(flow, api=api)
    flow.put(flow.visit(DAY), [], at=NOON)
    answer = follow(flow, begun["next"], api=api)
    assert {change["record"] for change in answer["changes"]} == kinds
    assert answer["reach"]["clients"] == []


def test_pages(flow, monkeypatch):
    """Few at a time, and few read at once: each change comes once, in order, until there is no more."""
    begun = follow(flow)
    for hour in range(8, 12):
        flow.visit(DAY, start=f"{hour:02}:00")
    whole = follow(flow, begun["next"])["changes"]
    monkeypatch.setattr(door, "MOST", 3)
    monkeypatch.setattr(door, "READ_AT_ONCE", 2)
    monkeypatch.setattr(door, "READS", 1)
    found, since, more = [], begun["next"], True
    while more:
        answer = follow(flow, since)
        found, since, more = [*found, *answer["changes"]], answer["next"], answer["more"]
        assert len(answer["changes"]) <= 3
    assert found == whole
    assert len(whole) == 12


def test_the_trail_names_whose_changes_were_told(flow):
    """The child whose part was moved, once."""
    begun = follow(flow)
    flow.visit(DAY)
    known = set(AuditEvent.objects.values_list("pk", flat=True))
    follow(flow, begun["next"])
    event = AuditEvent.objects.exclude(pk__in=known).get()
    assert (event.action, event.touched) == ("changes:read", [(flow.child.pk, flow.episode.pk)])


def test_a_position_of_another_database_begins_anew(flow):
    """A restored database counts its transactions from another number: 410 says that the feed has begun anew."""
    since = door.sealed([ANY + 1, 7], f"changes of {flow.organization.pk}")
    answer = flow.get("changes/", at=NOON, since=since)
    assert (answer.status_code, answer.json()["code"]) == (410, "feed_restarted")


@pytest.mark.parametrize("since", ["", "nonsense", "gAAAAABpy-invented-position"])
def test_a_made_up_position_is_refused(flow, since):
    """400, whatever it says."""
    assert flow.get("changes/", at=NOON, since=since).status_code == 400


def told_kinds() -> set[str]:
    """Every kind of record that the sources name when they write to the feed."""
    found = set()
    for place in ("clinic", "goals", "scheduling"):
        for source in (TOP / place).rglob("*.py"):
            text = source.read_text()
            found |= set(re.findall(r"""(?:outbox\.(?:created|changed)|tell)\(\s*"([a-z_]+)",""", text))
    return found


def test_every_kind_that_is_told_is_read_somewhere():
    """A new kind of record in the feed says here where it is read; no kind is left behind when it is gone."""
    assert told_kinds() == set(door.LISTS) | set(door.OF_ALL) | door.NOT_FOLLOWED
    lists = {path for paths in door.LISTS.values() for path in paths}
    assert {f"{BASE}{path}" for path in lists} - set(every_route()) == set()
