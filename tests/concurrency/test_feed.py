"""The feed under transactions that end in another order than they began: a reader who follows it misses nothing."""

import random
from threading import Event
from uuid import UUID

import psycopg
import pytest

from clinic.selectors import changes as selectors
from clinic.selectors.changes import FeedRestarted, Position, changes_after, position_now
from tests import factories as make
from tests.concurrency.racing import at_once
from tests.conftest import named

CHANGE = """
INSERT INTO clinic_changefeed (organization_id, kind, record_kind, record_id, client_id)
VALUES (%s, 'changed', 'client', %s, %s)"""
RUNNING = f"  AND change.transaction_id < ({selectors.HORIZON})\n"


class Writer:
    """A transaction of its own, which ends when it is told to."""

    def __init__(self, url: str, flow) -> None:
        self.connection = psycopg.connect(url)
        self.flow = flow

    def begin(self) -> None:
        """It has its number from now on."""
        self.connection.execute("SELECT pg_current_xact_id()")

    def write(self) -> str:
        row = make.new_id()
        self.connection.execute(CHANGE, [self.flow.organization.pk, row, self.flow.child.pk])
        return row

    def end(self) -> None:
        self.connection.commit()
        self.connection.close()


class Reader:
    """Follows the feed from now on."""

    def __init__(self, flow) -> None:
        self.organization, self.position = flow.organization.pk, position_now()

    def read(self) -> list[str]:
        found = changes_after(self.organization, self.position, limit=1000)
        if found:
            self.position = found[-1].position
        return [str(change.record_id) for change in found]


@pytest.fixture
def writer(own_database, flow):
    return lambda: Writer(own_database, flow)


def one_that_is_slow(flow, writer) -> tuple[list[str], list[str], list[str]]:
    """The slow one writes first and ends last: what is written, what is read meanwhile, and what afterwards."""
    reader, slow, quick = Reader(flow), writer(), writer()
    rows = [slow.write(), quick.write()]
    quick.end()
    meanwhile = reader.read()
    slow.end()
    return rows, meanwhile, reader.read()


def test_a_slow_transaction_is_not_overtaken(flow, writer):
    """What was committed first waits for what began before it, and both are told."""
    rows, meanwhile, afterwards = one_that_is_slow(flow, writer)
    assert (meanwhile, afterwards) == ([], rows)


def test_without_the_horizon_the_slow_one_is_missed(flow, writer, monkeypatch):
    """The control: a reader that takes whatever is committed goes on from beyond the slow one."""
    assert RUNNING in selectors.AFTER
    monkeypatch.setattr(selectors, "AFTER", selectors.AFTER.replace(RUNNING, ""))
    rows, meanwhile, afterwards = one_that_is_slow(flow, writer)
    assert (meanwhile, afterwards) == (rows[1:], [])


def numbers_crosswise(flow, writer) -> tuple[list[str], list[str]]:
    """The one that began first takes the later number of the sequence, and ends first."""
    reader, first, second = Reader(flow), writer(), writer()
    first.begin()
    rows = [second.write(), first.write()]
    first.end()
    read = reader.read()
    second.end()
    return rows, read + reader.read()


def test_numbers_out_of_order_are_told(flow, writer):
    """The order is that of the transactions, not of the sequence."""
    rows, read = numbers_crosswise(flow, writer)
    assert read == rows[::-1]


def test_by_the_sequence_alone_one_is_missed(flow, writer, monkeypatch):
    """The control: a reader that goes by the sequence has passed the lower number when it comes."""
    by_sequence = selectors.AFTER.replace(
        "(change.transaction_id, change.seq) > (%s, %s)", "%s::bigint IS NOT NULL AND change.seq > %s"
    ).replace("ORDER BY change.transaction_id, change.seq", "ORDER BY change.seq")
    monkeypatch.setattr(selectors, "AFTER", by_sequence)
    rows, read = numbers_crosswise(flow, writer)
    assert read == rows[1:]


def test_a_storm_is_told_whole(own_database, flow):
    """Six write in transactions of one to three changes, some of which are rolled back; one follows all the while."""
    ended = [Event() for _ in range(6)]

    def write(number: int):
        chance = random.Random(number)

        def run() -> list[str]:
            kept = []
            with psycopg.connect(own_database) as connection:
                for _ in range(60):
                    rows = [make.new_id() for _ in range(chance.randint(1, 3))]
                    for row in rows:
                        connection.execute(CHANGE, [flow.organization.pk, row, flow.child.pk])
                        connection.execute("SELECT pg_sleep(%s)", [chance.random() / 500])
                    if chance.random() < 0.2:
                        connection.rollback()
                        continue
                    connection.commit()
                    kept += rows
            ended[number].set()
            return kept

        return run

    reader = Reader(flow)

    def follow() -> list[str]:
        read = []
        while not all(event.is_set() for event in ended):
            read += reader.read()
        return read + reader.read()

    *kept, read = at_once([*(write(number) for number in range(6)), follow])
    assert sorted(read) == sorted(row for rows in kept for row in rows)
    assert len(read) > 300
    assert len({UUID(row) for row in read}) == len(read)


def test_the_door_waits_for_a_running_transaction(flow, writer):
    """The same through HTTP: not told while another may still come before it, told with it afterwards."""
    begun = flow.ana.get("/api/v1/changes/").json()
    slow, quick = writer(), writer()
    child = str(flow.child.pk)
    for one in (slow, quick):
        one.connection.execute(CHANGE, [flow.organization.pk, child, child])
    quick.end()
    waiting = flow.ana.get("/api/v1/changes/", {"since": begun["next"]}).json()
    slow.end()
    told = flow.ana.get("/api/v1/changes/", {"since": waiting["next"]}).json()
    assert [change["id"] for change in waiting["changes"]] == []
    assert [change["id"] for change in told["changes"]] == [child, child]


def test_another_database_of_the_server_holds_nothing_up(database_server, flow, writer):
    """A transaction that runs elsewhere on the same server can write nothing here, and is not waited for."""
    reader, one = Reader(flow), writer()
    with psycopg.connect(named(database_server, "postgres")) as elsewhere:
        elsewhere.execute("SELECT pg_current_xact_id()")
        row = one.write()
        one.end()
        assert reader.read() == [row]


def test_a_position_that_lies_ahead_is_another_database_s(flow):
    """A restored database counts its transactions anew: whoever comes with an old position is told so."""
    ahead = position_now().transaction_id + 1_000_000
    with pytest.raises(FeedRestarted):
        changes_after(flow.organization.pk, Position(ahead, 1), limit=1)
