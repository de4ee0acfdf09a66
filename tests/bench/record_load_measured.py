"""Runs the load on the ground that was laid for it, then lets the checker compare record and ledgers."""

import random
import threading
import time
import urllib.request
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta
from functools import partial
from pathlib import Path

import psycopg
import time_machine
from celery import current_app
from django.db import connections
from django.utils import timezone

from clinic import embedded
from clinic.processes import free_port
from clinic.services.delivery import LEASE, deliver_outbox
from tests.bench import load_checker, load_people, load_world
from tests.bench.ground import judged, row
from tests.bench.load_herd import Herd
from tests.bench.load_wire import Wire

SEED = 20261125
WRITERS = 6
DESKS = 3
LEAST_A_SECOND = 25  # 3,000 in 120 s
DATABASE_STOPS = 2
STARTED_WITHIN = 30.0
OPEN = "SELECT count(*) FROM clinic_outboxhandling WHERE done_at IS NULL AND dead_at IS NULL"


def run(folder: Path, *, quick: bool) -> int:
    seconds, kills = (25, 5) if quick else (120, 20)
    world = load_world.made(writers=WRITERS, visits=60 if quick else 260)
    connections.close_all()
    port, ending = free_port(), threading.Event()
    make = partial(_wire, port, folder, ending)
    with embedded.running(folder), Herd(folder, port) as herd:  # from here on the data are no longer throwaway
        _require_safe(folder)
        _until_it_answers(port)
        failed: list[BaseException] = []
        people, wires = _people(world, make, failed)
        killed = _disturb(herd, seconds=seconds, kills=kills)
        ending.set()
        for each in people:
            each.join()
        _settle(folder, patience=10.0 if quick else LEASE.total_seconds() + 60)
    if quick:  # what a killed worker had claimed comes free with its lease
        current_app.loader.import_default_modules()
        with time_machine.travel(timezone.now() + LEASE + timedelta(seconds=1)):
            deliver_outbox()
        connections.close_all()
    return _judge(folder, wires, failed, killed, least=seconds * LEAST_A_SECOND)


def _wire(port: int, folder: Path, ending: threading.Event, name: str, token: str) -> Wire:
    return Wire(port, token, folder / f"{name}.ledger", ending, random.Random(f"{SEED} {name}"))  # noqa: S311


def _require_safe(folder: Path) -> None:
    with psycopg.connect(embedded.database_url(folder)) as connection:
        if connection.execute("SELECT current_setting('fsync'), current_setting('synchronous_commit')").fetchone() != (
            "on",
            "on",
        ):
            raise AssertionError("The database would lose what it acknowledged")


def _until_it_answers(port: int) -> None:
    until = time.monotonic() + STARTED_WITHIN
    while time.monotonic() < until:
        with suppress(OSError), urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz/", timeout=2):
            return
        time.sleep(0.2)
    raise TimeoutError(f"The service did not answer within {STARTED_WITHIN:.0f} s")


def _people(
    world: load_world.World, make: Callable[[str, str], Wire], failed: list[BaseException]
) -> tuple[list[threading.Thread], list[Wire]]:
    desk: load_people.Desk = load_people.Desk()
    wires, acts = [], []
    for number, who in enumerate(world.writers):
        wires.append(make(f"assistant-{number}", who.token))
        acts.append(partial(load_people.assist, wires[-1], who, desk))
    for number in range(DESKS):
        pair = tuple(make(f"supervisor-{number}-{place}", token) for place, token in enumerate(world.supervisors))
        wires.extend(pair)
        acts.append(partial(load_people.supervise, pair, desk))
    people = [threading.Thread(target=_kept, args=(act, failed)) for act in acts]
    for each in people:
        each.start()
    return people, wires


def _kept(act: Callable[[], None], failed: list[BaseException]) -> None:
    """Whatever a client did not expect is a fault of the run, not a thread that ends unseen."""
    try:
        load_people.until_the_end(act)
    except BaseException as exc:
        failed.append(exc)


def _disturb(herd: Herd, *, seconds: int, kills: int) -> Counter[str]:
    """Kill and stop at even distances over the time of the load; answers how often what was hit."""
    chance, killed, begun = random.Random(SEED), Counter[str](), time.monotonic()  # noqa: S311
    acts: list[Callable[[], str]] = [partial(herd.kill_one, chance)] * kills
    for place in range(DATABASE_STOPS):
        acts.insert((place + 1) * len(acts) // (DATABASE_STOPS + 1), herd.stop_database)
    for place, act in enumerate(acts):
        time.sleep(max(0.0, begun + (place + 1) * seconds / (len(acts) + 1) - time.monotonic()))
        killed[act()] += 1
    time.sleep(max(0.0, begun + seconds - time.monotonic()))
    return killed


def _settle(folder: Path, *, patience: float) -> None:
    """Background work goes on by itself until nothing is open, or for so long."""
    until = time.monotonic() + patience
    with psycopg.connect(embedded.database_url(folder), autocommit=True) as connection:
        while time.monotonic() < until and connection.execute(OPEN).fetchone() != (0,):
            time.sleep(0.3)


def _judge(folder: Path, wires: list[Wire], failed: list[BaseException], killed: Counter[str], *, least: int) -> int:
    counts = sum((wire.counts for wire in wires), Counter[str]())
    for name, number in (counts + killed).items():
        row(name, f"{number:,}")
    for each in failed:
        print(f"a client stopped: {type(each).__name__}: {str(each)[:300]}")
    files = [wire.ledger for wire in wires if wire.ledger.exists()]
    with psycopg.connect(embedded.database_url(folder), autocommit=True) as connection:
        written = load_checker.read_ledgers(connection, files)
        found = load_checker.faults(connection)
        missed = load_checker.unseen(connection)
    for each in found:
        print(f"FAULT {each}")
    for each in missed:
        print(f"CONTROL not found when made by hand: {each}")
    row("faults made by hand and found", f"{len(load_checker.MADE) - len(missed)} of {len(load_checker.MADE)}")
    held = not (found or missed or failed) and written >= least
    return judged(
        f"{written:,} acknowledged writes of at least {least:,}, {len(found)} faults, "
        f"{killed.total() - DATABASE_STOPS} kills, {DATABASE_STOPS} stops of the database",
        held=held,
    )
