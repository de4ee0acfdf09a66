"""The service's own role: the whole main way works under it, and it cannot touch what is kept as it is."""

from io import StringIO
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.utils import timezone
from psycopg.errors import InsufficientPrivilege

from clinic.models import Seal, Unsealed
from clinic.rules.seals import key_id
from clinic.selectors.grants import ADDED, rights_by_table
from clinic.selectors.seal_check import check_record
from clinic.services.delivery import sweep_expired
from clinic.services.seals import seal_rows
from tests.architecture.world import World, every_model, run
from tests.concurrency.racing import broker_at
from tests.scheduling.flow import Flow

KEPT = sorted(table for table, rights in rights_by_table().items() if rights == ADDED)


def printed(role: str) -> str:
    out = StringIO()
    call_command("grants", role, stdout=out)
    return out.getvalue()


@pytest.fixture
def role(own_database):
    """The role, made by the statements that the command prints; it is the cluster's, so it goes again."""
    name = f"service_{uuid4().hex[:12]}"
    with connection.cursor() as cursor:
        cursor.execute(printed(name))
    yield name
    run("RESET ROLE")
    run(f"DROP OWNED BY {name}")
    run(f"DROP ROLE {name}")


def refusal(statement: str) -> type[Exception] | None:
    try:
        with transaction.atomic():
            run(statement)
            transaction.set_rollback(True)
    except DatabaseError as exc:
        return type(exc.__cause__)
    return None


def attempts(table: str) -> list[str]:
    """All that would change, take away or unguard a row."""
    column = next(m._meta.pk.column for m in every_model() if m._meta.db_table == table)
    ((trigger,),) = run(
        "SELECT min(tgname) FROM pg_trigger WHERE tgrelid = %s::regclass AND tgname LIKE 'pgtrigger_never_changed%%'",
        [table],
    )
    return [
        f"UPDATE {table} SET {column} = {column}",
        f"DELETE FROM {table}",
        f"TRUNCATE {table} CASCADE",
        f"ALTER TABLE {table} DISABLE TRIGGER ALL",
        f"DROP TRIGGER {trigger} ON {table}",
        f"ALTER TABLE {table} ADD COLUMN more integer",
        f"DROP TABLE {table} CASCADE",
    ]


ELSEWHERE = [
    "SET session_replication_role = replica",
    "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$",
    "ALTER FUNCTION refuse_change() RENAME TO allowed",
    "CREATE TABLE beside (id integer)",
    "CREATE TEMPORARY TABLE clinic_signature (id integer)",
    "UPDATE django_migrations SET applied = now()",
    "DELETE FROM clinic_document",
]


def test_the_role_changes_nothing_that_is_kept(role):
    """UPDATE, DELETE, TRUNCATE, and whatever would lift a guard, each refused by the lack of a right."""
    tried = {table: attempts(table) for table in KEPT}
    run(f"SET ROLE {role}")
    answers = {statement: refusal(statement) for table in KEPT for statement in tried[table]}
    answers |= {statement: refusal(statement) for statement in ELSEWHERE}
    assert answers == dict.fromkeys(answers, InsufficientPrivilege)
    assert len(KEPT) >= 21


def test_the_owner_could(role):
    """The control: for whoever owns the tables, a guard can be lifted and a table dropped."""
    assert refusal("ALTER TABLE clinic_signature DISABLE TRIGGER ALL") is None
    assert refusal("DROP TABLE clinic_signature CASCADE") is None
    assert refusal("SET LOCAL session_replication_role = replica") is None


def test_the_main_way_works_under_the_role(role, tmp_path):
    """Entered, measured, signed, returned, revised, co-signed, computed, swept and sealed, as the role alone."""
    run(f"SET ROLE {role}")
    with broker_at("memory://"):
        flow = Flow()
        goal = flow.goal_of_ten(baseline=[3, 4, 3], needed=8)
        part = flow.visit("2026-03-05")
        note = flow.put_note(part, successes=8, goal=goal, at="2026-03-05 17:00")
        flow.sign(note, at="2026-03-05 17:05")
        read = flow.read(note, flow.ruth)
        answer = flow.send_back(note, digest=read["current"]["digest"], reason="Count again", at="2026-03-05 17:30")
        assert answer.status_code == 200, answer.content
        flow.revise(note, part, successes=9, goal=goal, at="2026-03-05 17:40")
        flow.sign(note, at="2026-03-05 17:41")
        digest = flow.read(note, flow.ruth)["current"]["digest"]
        assert flow.cosign(note, digest=digest, at="2026-03-05 18:00").status_code == 200
        flow.deliver()
        assert flow.progress(goal)["criterion"]
    assert sweep_expired() >= 0
    key, path = settings.AUDIT_KEY.encode(), tmp_path / "anchor.jsonl"
    assert seal_rows(now=timezone.now(), path=path) > 20
    assert (Seal.objects.count(), Unsealed.objects.count()) == (1, 0)
    assert check_record(now=timezone.now(), keys={key_id(key): key}, path=path).findings == []


def test_each_table_takes_what_it_is_there_for(role):
    """A row of every table can be added by the role."""
    run(f"SET ROLE {role}")
    world = World()
    for model in every_model():
        world.row(model)


def test_run_again_it_changes_nothing(role):
    rights = "SELECT table_name, privilege_type FROM information_schema.role_table_grants WHERE grantee = %s"
    before = set(run(rights, [role]))
    with connection.cursor() as cursor:
        cursor.execute(printed(role))
    assert set(run(rights, [role])) == before


@pytest.mark.parametrize("name", ["", "Service", "a b", 'a"; DROP TABLE x', "1st", "a" * 64])
def test_a_name_that_needs_quotes_is_refused(db, name):
    with pytest.raises(CommandError):
        printed(name)
