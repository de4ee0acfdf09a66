"""Each event bears a mark that only the service can set; a signed act without an event, and an event without, show."""

from datetime import timedelta

import pytest
import time_machine
from django.conf import settings
from django.utils import timezone

from clinic import audit
from clinic.enums import AccountAction, Role
from clinic.models import AccountEvent, AuditEvent, DocumentVersion
from clinic.rules.seals import Broken
from clinic.selectors.trail_check import CHANGEOVER, trail_amiss
from tests import factories as make
from tests.architecture.database import at_once
from tests.architecture.world import World, run
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db


def found() -> list[tuple[Broken, str]]:
    return [(finding.broken, finding.kind) for finding in trail_amiss([settings.AUDIT_KEY.encode()])]


@pytest.fixture
def told():
    """What two requests leave, and somebody who was not let in, over both families of addresses."""
    staff = make.make_staff(make.make_organization(), Role.THERAPIST, Role.ADMINISTRATOR)
    child = make.make_client(make.make_site(staff.organization))
    make.put_on_team(staff, make.make_episode(child))
    api = make.signed_in(staff)
    assert api.get(f"/api/v1/clients/{child.pk}/", REMOTE_ADDR="203.0.113.7").status_code == 200
    assert api.get("/api/v1/episodes/", REMOTE_ADDR="2001:DB8:0::7").status_code == 200
    api.credentials(HTTP_AUTHORIZATION="Bearer nobody-has-this")
    assert api.get("/api/v1/episodes/", REMOTE_ADDR="::ffff:203.0.113.7").status_code == 401


def sleeping() -> None:
    run("SET LOCAL session_replication_role = replica")


def test_what_the_service_writes_bears_its_mark(told):
    """Whatever was asked, from wherever: the event reads as it was written."""
    assert (AuditEvent.objects.count(), AccountEvent.objects.count()) == (2, 1)
    assert all(len(event.mac) == 32 for event in (*AuditEvent.objects.all(), *AccountEvent.objects.all()))
    assert found() == []


@pytest.mark.parametrize("column", audit.EVENT_COLUMNS.split(", "))
def test_each_column_of_an_event_is_marked(told, column):
    """Another value anywhere is found at once, seal or no seal."""
    sleeping()
    another = {
        "at": "at + interval '1 microsecond'",
        "roles": "roles || 'assistant'::varchar",
        "status": "status + 1",
        "address": "'198.51.100.1'",
        "client_ids": "client_ids || gen_random_uuid()",
        "episode_ids": "episode_ids || NULL::uuid",
    }.get(column, "gen_random_uuid()" if column.endswith("id") and column != "request_id" else "'x'")
    at_once()
    run("ALTER TABLE clinic_auditevent DROP CONSTRAINT audit_clients_and_episodes_pair")
    run("ALTER TABLE clinic_auditevent DROP CONSTRAINT audit_outcome_is_known")
    last = "SELECT max(id::text)::uuid FROM clinic_auditevent"
    run(f"UPDATE clinic_auditevent SET {column} = {another} WHERE id = ({last})")
    assert found() == [(Broken.EVENT_FORGED, "clinic_auditevent")]


@pytest.mark.parametrize("column", ["user_id", "named = 'x'", "outcome = 'refused'", "address = NULL", "mac = ''"])
def test_an_account_s_event_is_marked(told, column):
    """Who was refused cannot be turned into somebody who was let in."""
    sleeping()
    column = column.replace("user_id", "user_id = (SELECT user_id FROM clinic_staff LIMIT 1)")
    with time_machine.travel(timezone.now() + CHANGEOVER + timedelta(minutes=1), tick=False):
        event = audit.AccountEvent(at=timezone.now(), action=AccountAction.SIGN_IN, status=302, address="203.0.113.9")
        audit.write_account(event)
    assert found() == []
    run(f"UPDATE clinic_accountevent SET {column} WHERE action = 'sign_in'")
    assert found() == [(Broken.EVENT_FORGED, "clinic_accountevent")]


def test_an_event_without_a_mark_is_of_before_there_were_any(told):
    """What an older process still wrote beside the first marks is taken; later, nothing is."""
    same = "organization_id, roles, application, action, method, route, outcome, status, code, reason, request_id"
    copied = (
        f"INSERT INTO clinic_auditevent (id, at, {same}) SELECT gen_random_uuid(), at + %s, {same} "
        "FROM clinic_auditevent WHERE mac <> '' LIMIT 1"
    )
    run(copied, [timedelta(days=-3)])
    run(copied, [timedelta(minutes=1)])
    assert found() == []
    run(copied, [CHANGEOVER + timedelta(minutes=1)])
    assert found() == [(Broken.EVENT_FORGED, "clinic_auditevent")]


def test_before_there_were_marks_nothing_is_asked():
    World().row(AuditEvent)
    World().row(DocumentVersion)
    assert found() == []


def test_a_signature_and_a_verdict_stand_in_the_trail():
    """The main way leaves an event at the instant of each; one slipped in past the service has none."""
    flow = Flow()
    goal = flow.goal_of_ten(baseline=[3, 4, 3], needed=8)
    note = flow.signed_visit("2026-03-05", successes=8, goal=goal)
    digest = flow.read(note, flow.ruth)["current"]["digest"]
    assert flow.cosign(note, digest=digest, at="2026-03-05 18:00").status_code == 200
    assert found() == []
    sleeping()
    run("UPDATE clinic_signature SET signed_at = signed_at + interval '1 second' WHERE meaning = 'cosignature'")
    assert found() == [(Broken.ACT_UNTOLD, "clinic_signature")]
    run("UPDATE clinic_verdict SET by_id = gen_random_uuid()")
    assert sorted(found()) == [(Broken.ACT_UNTOLD, "clinic_signature"), (Broken.ACT_UNTOLD, "clinic_verdict")]
