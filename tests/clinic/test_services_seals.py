"""Seals: each added row comes under one, whatever commits when, and a change of anything shows."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.utils import timezone

from clinic import anchor
from clinic.models import Seal, SealEntry, Unsealed
from clinic.rules.seals import Broken, key_id
from clinic.selectors.seal_check import Checked, check_record
from clinic.selectors.sealing import sealed_tables
from clinic.services import seals
from clinic.services.seals import AnchorDisagrees, seal_rows
from tests.architecture.world import NOON, World, run
from tests.concurrency.racing import at_once

KEY = b"only for the seals of these tests"


@pytest.fixture
def path(tmp_path) -> Path:
    return tmp_path / "anchor.jsonl"


@pytest.fixture
def seal(path) -> Callable[[], int]:
    """Seals what waits, on the day of which the rows speak."""
    return lambda: seal_rows(now=NOON, key=KEY, path=path)


@pytest.fixture
def check(path) -> Callable[[], Checked]:
    return lambda: check_record(now=timezone.now(), keys={key_id(KEY): KEY}, path=path)


@pytest.fixture
def record(own_database, seal) -> list[int]:
    """A row of every sealed table, sealed; and then a second row of each, under a second seal."""
    sealed = []
    for _ in range(2):
        world = World()
        for table in sealed_tables().values():
            world.row(table.model)
        sealed.append(seal())
    return sealed


def untriggered(*statements: str) -> None:
    """As whoever owns the tables: the triggers, and the keys, are asleep."""
    with transaction.atomic():
        run("SET LOCAL session_replication_role = replica")
        for statement in statements:
            run(statement)


def broken(checked: Checked) -> set[Broken]:
    return {finding.broken for finding in checked.findings}


def test_a_row_of_every_table_comes_under_a_seal(record, check, path):
    """One row each, under two seals that follow each other, and as many lines in the anchor; everything fits."""
    entries = set(SealEntry.objects.values_list("kind", flat=True))
    assert entries == set(sealed_tables())
    first, second = Seal.objects.order_by("number")
    assert (second.number, second.first, second.previous) == (2, first.count + 1, first.mac)
    assert record == [first.count, second.count]
    assert [line.mac for line in anchor.lines_of(path)] == [first.mac, second.mac]
    checked = check()
    assert (checked.findings, checked.seals, checked.entries, checked.waiting) == ([], 2, sum(record), 0)


def test_nothing_new_needs_no_seal(record, seal):
    assert seal() == 0
    assert Seal.objects.count() == 2


def test_the_anchor_is_its_owner_s_alone(record, path):
    assert oct(path.stat().st_mode & 0o777) == "0o600"


@pytest.mark.parametrize("kind", sorted(sealed_tables()))
def test_a_row_that_goes_is_named(record, check, kind):
    """In each table: a sealed row taken away with the triggers asleep."""
    key = sealed_tables()[kind].trigger.key
    entry = SealEntry.objects.filter(kind=kind).earliest("ordinal")
    untriggered(f"DELETE FROM {kind} WHERE seal_key({key}) = '{entry.row_id}'")
    (finding,) = check().findings
    assert (finding.broken, finding.kind, finding.row_id) == (Broken.ROW_GONE, kind, entry.row_id)
    assert (finding.seal, finding.ordinal) == (1, entry.ordinal)


CHANGES: list[Any] = [
    pytest.param(["UPDATE clinic_auditevent SET reason = 'another'"], Broken.ROW_CHANGED, id="changed"),
    pytest.param(["UPDATE clinic_auditevent SET at = at + interval '1 microsecond'"], Broken.ROW_CHANGED, id="instant"),
    pytest.param(["UPDATE clinic_documentversion SET content = content || '\\x00'"], Broken.ROW_CHANGED, id="content"),
    pytest.param(
        ["UPDATE clinic_documentflag SET sentence = 'another'"], Broken.ROW_CHANGED, id="what its table fills in"
    ),
    pytest.param(["UPDATE clinic_verdict SET opened_at = at"], Broken.ROW_CHANGED, id="what was empty"),
    pytest.param(["DELETE FROM clinic_sealentry WHERE ordinal = 2"], Broken.ENTRY_GONE, id="entry gone"),
    pytest.param(["UPDATE clinic_sealentry SET leaf = sha256('x') WHERE ordinal = 2"], Broken.ENTRY_ALTERED, id="leaf"),
    pytest.param(
        [
            "UPDATE clinic_sealentry SET ordinal = 10000 WHERE ordinal = 1",
            "UPDATE clinic_sealentry SET ordinal = 1 WHERE ordinal = 2",
            "UPDATE clinic_sealentry SET ordinal = 2 WHERE ordinal = 10000",
        ],
        Broken.ENTRY_ALTERED,
        id="two entries swapped",
    ),
    pytest.param(["UPDATE clinic_seal SET count = count - 1 WHERE number = 2"], Broken.SEAL_ALTERED, id="count"),
    pytest.param(["UPDATE clinic_seal SET root = repeat('0', 64) WHERE number = 1"], Broken.SEAL_ALTERED, id="root"),
    pytest.param(["UPDATE clinic_seal SET at = at - interval '1 day'"], Broken.SEAL_ALTERED, id="seal's instant"),
    pytest.param(["DELETE FROM clinic_seal WHERE number = 1"], Broken.SEAL_GONE, id="seal gone"),
    pytest.param(["DELETE FROM clinic_seal WHERE number = 2"], Broken.ANCHOR_DIFFERS, id="last seal gone"),
    pytest.param(["DELETE FROM clinic_seal", "DELETE FROM clinic_sealentry"], Broken.ANCHOR_DIFFERS, id="all gone"),
    pytest.param(
        [
            "INSERT INTO clinic_sealentry (ordinal, seal_id, kind, row_id, leaf, mac) "
            "SELECT 10000, 2, kind, gen_random_uuid(), leaf, mac FROM clinic_sealentry LIMIT 1"
        ],
        Broken.ENTRY_ADDED,
        id="entry added",
    ),
]


@pytest.mark.parametrize(("statements", "found"), CHANGES)
def test_a_change_past_the_service_is_found(record, check, statements, found):
    """Whoever can write every table, and has neither key nor anchor, leaves something that does not fit."""
    untriggered(*statements)
    assert found in broken(check())


def test_a_tail_cut_with_all_that_spoke_of_it_is_found(record, check):
    """The last seal, its entries and their rows are gone: only the anchor still knows. Without it nobody would."""
    cut = [
        f"DELETE FROM {kind} t WHERE {table.key} IN "
        f"(SELECT row_id FROM clinic_sealentry WHERE seal_id = 2 AND kind = '{kind}')"
        for kind, table in sealed_tables().items()
    ]
    untriggered(*cut, "DELETE FROM clinic_sealentry WHERE seal_id = 2", "DELETE FROM clinic_seal WHERE number = 2")
    assert [(f.broken, f.seal) for f in check().findings] == [(Broken.ANCHOR_DIFFERS, 2)]


def test_without_its_anchor_the_record_is_not_called_whole(record, check, path):
    path.unlink()
    assert broken(check()) == {Broken.ANCHOR_MISSING}


def test_a_row_that_asks_for_no_seal_is_found(record, check, seal):
    """Put in with the triggers asleep, it stays without a seal however often the sealing runs."""
    untriggered("INSERT INTO clinic_auditevent SELECT (jsonb_populate_record(t, jsonb_build_object('id', "
                "gen_random_uuid()))).* FROM clinic_auditevent t LIMIT 1")  # fmt: skip
    assert seal() == 0
    assert broken(check()) == {Broken.ROW_ADDED}


def test_a_row_of_long_ago_that_comes_today_is_found(record, check, seal):
    """It asked for its seal as others do, but the seals of its day were set without it."""
    forged = "jsonb_build_object('id', gen_random_uuid(), 'at', at - interval '3 days')"
    run(f"INSERT INTO clinic_auditevent SELECT (jsonb_populate_record(t, {forged})).* FROM clinic_auditevent t LIMIT 1")
    assert seal() == 1
    assert broken(check()) == {Broken.ROW_BACKDATED}


def test_another_key_s_seal_is_not_taken(record, check, path):
    """Whoever seals a forged row with a key of her own is found out by it."""
    forged = "jsonb_build_object('id', gen_random_uuid(), 'at', now())"
    run(f"INSERT INTO clinic_auditevent SELECT (jsonb_populate_record(t, {forged})).* FROM clinic_auditevent t LIMIT 1")
    seal_rows(now=NOON, key=b"another key", path=path)
    assert Broken.SEAL_KEY_UNKNOWN in broken(check())


def test_a_key_may_be_changed(record, path):
    """Seals of the key before stay good where that key is still known."""
    World().row(sealed_tables()["clinic_auditevent"].model)
    seal_rows(now=NOON, key=b"the next key", path=path)
    keys = {key_id(key): key for key in (KEY, b"the next key")}
    assert check_record(now=timezone.now(), keys=keys, path=path).findings == []


def test_nothing_is_sealed_on_top_of_a_cut(record, seal):
    """Where the anchor knows more than the record, the sealing stops: what waits goes on waiting."""
    untriggered("DELETE FROM clinic_seal WHERE number = 2", "DELETE FROM clinic_sealentry WHERE seal_id = 2")
    World().row(sealed_tables()["clinic_accountevent"].model)
    with pytest.raises(AnchorDisagrees):
        seal()
    assert Unsealed.objects.count() == 1


def test_a_seal_that_was_not_anchored_is_anchored_next_time(own_database, seal, check, path, monkeypatch):
    """The process died between the two: the next one writes the line."""
    World().row(sealed_tables()["clinic_accountevent"].model)
    with monkeypatch.context() as dying:
        dying.setattr(anchor, "append", lambda *_: None)
        assert seal() == 1
    assert broken(check()) == {Broken.ANCHOR_MISSING}
    assert seal() == 0
    assert [line.number for line in anchor.lines_of(path)] == [1]
    assert check().findings == []


def test_more_than_a_batch_takes_several_seals(own_database, seal, check, monkeypatch):
    monkeypatch.setattr(seals, "BATCH", 3)
    world = World()
    world.row(sealed_tables()["clinic_accountevent"].model)
    for _ in range(6):
        world.add(sealed_tables()["clinic_accountevent"].model)
    assert seal() == 7
    assert [(s.first, s.count, s.caught_up) for s in Seal.objects.order_by("number")] == [
        (1, 3, False),
        (4, 3, False),
        (7, 1, True),
    ]
    assert check().findings == []


def test_what_waits_too_long_is_told(own_database, seal, check, path):
    """A worker that does not run shows: rows wait longer than the window."""
    World().row(sealed_tables()["clinic_accountevent"].model)
    checked = check()
    assert (checked.waiting, checked.findings) == (1, [])
    later = check_record(now=timezone.now() + timedelta(seconds=11), keys={key_id(KEY): KEY}, path=path)
    assert broken(later) == {Broken.OVERDUE}
    assert seal() == 1


def test_a_row_that_is_gone_before_its_seal_is_missed(own_database, seal, check):
    """It asked, and is not there: its place is kept, and found empty."""
    World().row(sealed_tables()["clinic_accountevent"].model)
    untriggered("DELETE FROM clinic_accountevent")
    assert seal() == 1
    assert broken(check()) == {Broken.ROW_GONE}


def test_a_row_that_commits_late_is_sealed(own_database, seal, check):
    """Begun first and committed last, with seals set in between: it comes under the next one."""
    world = World()
    model = sealed_tables()["clinic_accountevent"].model
    values = "gen_random_uuid(), now(), '', '', 'sign_in', '', '', 'done', 200, '', NULL, '', NULL"
    columns = "id, at, named, application, action, method, route, outcome, status, code, address, request_id, user_id"
    with psycopg.connect(own_database) as late:
        late.execute(f"INSERT INTO clinic_accountevent ({columns}) VALUES ({values})")
        world.row(model)
        assert seal() == 1
    assert seal() == 1
    assert check().findings == []


def test_two_that_seal_at_once_leave_one_order(own_database, seal, check):
    """Of processes that begin together one seals; the numbers stay without a gap and nothing is sealed twice."""
    world = World()
    model = sealed_tables()["clinic_accountevent"].model
    for _ in range(4):
        world.add(model)
        at_once([seal] * 4)
    assert SealEntry.objects.count() == 4
    assert check().findings == []


def test_asking_twice_seals_once(own_database, seal, check):
    """Whoever puts a sealed row, or a table's name that is none, into the queue does not stop the sealing."""
    World().row(sealed_tables()["clinic_accountevent"].model)
    assert seal() == 1
    run("INSERT INTO clinic_unsealed (kind, row_id) SELECT kind, row_id FROM clinic_sealentry")
    run("INSERT INTO clinic_unsealed (kind, row_id) VALUES ('clinic_nothing', gen_random_uuid())")
    assert seal() == 0
    assert (Unsealed.objects.count(), check().findings) == (0, [])


def test_the_command_names_the_first(record, path, settings, capsys):
    """Status 0 and a count where everything fits; else the first row that does not."""
    settings.AUDIT_KEY, settings.AUDIT_KEYS_BEFORE, settings.AUDIT_ANCHOR = KEY.decode(), [], path
    call_command("audit", "verify")
    assert "Everything fits." in capsys.readouterr().out
    first = SealEntry.objects.filter(kind="clinic_signature").earliest("ordinal")
    untriggered("UPDATE clinic_signature SET printed_name = 'Somebody else'")
    with pytest.raises(CommandError, match=f"row_changed: clinic_signature {first.row_id}, seal 1, entry {first.pk}"):
        call_command("audit", "verify")
