"""A last day set while she is put on a care team, on committed data; the lock beside the race without it."""

import threading
from datetime import date
from typing import Any

from django.db import connection, connections, transaction

from clinic.enums import Role
from clinic.errors import InvalidField
from clinic.models import CareTeam
from clinic.selectors.actors import person
from clinic.services import care_team, staff
from tests import factories as make

NOW = make.at("2026-03-03 09:00")
LAST_DAY = date(2026, 3, 31)
BLOCKED = "SELECT EXISTS (SELECT 1 FROM pg_locks WHERE NOT granted AND pg_backend_pid() = ANY(pg_blocking_pids(pid)))"


def make_team() -> dict[str, Any]:
    organization = make.make_organization()
    administrator = make.make_staff(organization, Role.ADMINISTRATOR)
    return {
        "actor": person(user_id=administrator.user_id, now=NOW, application="session", scopes=None),
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "episode": make.make_episode(make.make_client(make.make_site(organization))),
    }


def put_on_team_while_leaving(team: dict[str, Any]) -> list[Any]:
    """Begin the second act inside the first, and let the first end when the second waits or is done."""
    outcome: list[Any] = []

    def put() -> None:
        try:
            outcome.append(
                care_team.put_on_team(
                    actor=team["actor"],
                    row_id=make.new_id(),
                    episode=team["episode"].pk,
                    staff=team["assistant"].pk,
                    starts_on=NOW.date(),
                    digest="",
                    now=NOW,
                )
            )
        except InvalidField as refusal:
            outcome.append(refusal)
        finally:
            connections.close_all()

    thread = threading.Thread(target=put)
    with transaction.atomic(), connection.cursor() as cursor:
        staff.change_staff(actor=team["actor"], staff=team["assistant"], now=NOW, left_on=LAST_DAY)
        thread.start()
        waits = False
        while thread.is_alive() and not waits:
            waits = cursor.execute(BLOCKED).fetchone()[0]
    thread.join()
    return outcome


def test_a_place_waits_for_the_leaving_and_is_refused(own_database):
    """The person is locked by both: the later act sees the last day."""
    (refusal,) = put_on_team_while_leaving(make_team())
    assert [error["code"] for error in refusal.errors] == ["beyond_last_day"]
    assert CareTeam.objects.count() == 0


def test_without_the_lock_a_place_outlives_the_last_day(own_database, monkeypatch):
    """The race is real: the place is made unseen, and goes on after she has left."""
    named = care_team.named
    monkeypatch.setattr(care_team, "named", lambda *args, lock=False, **options: named(*args, **options))
    put_on_team_while_leaving(make_team())
    assert CareTeam.objects.get().ends_on is None
