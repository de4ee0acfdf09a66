"""What every bench stands on: a server and a database of its own, both sides timed in turn, one figure to judge."""

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import django
import psycopg
from django.core.management import call_command
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict

from clinic import embedded

Side = Callable[[int], object]


def options(about: str, argv: list[str] | None = None, *more: tuple[str, str]) -> argparse.Namespace:
    """--quick, and further options that take a value."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--quick", action="store_true", help="fewer rounds and rows, under 50 s")
    for name, told in more:
        parser.add_argument(name, default="", help=told)
    return parser.parse_args(argv)


@contextmanager
def own_ground(**settings: str) -> Iterator[str]:
    """A migrated database that nobody else uses, Django set up on it; nothing of it is left afterwards.

    DATABASE_URL names the server; without it the embedded one runs below a folder of its own.
    """
    with _own_folder() as folder:
        os.environ.update({"VAR_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "tests.settings", **settings})
        with _own_database(folder) as url:
            django.setup()
            call_command("migrate", interactive=False, verbosity=0)
            try:
                yield url
            finally:
                django.db.connections.close_all()


@contextmanager
def _own_folder() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp(prefix="bench-"))
    # Root's embedded server runs as another account, which must pass through.
    folder.chmod(0o711)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def _own_database(folder: Path) -> Iterator[str]:
    given = os.environ.get("DATABASE_URL")
    if given is None:
        with embedded.running(folder, throwaway=True) as url:
            yield url
        _clear_away(folder, url)
        return
    name = f"bench_record_{uuid4().hex[:16]}"
    url = urlsplit(given)._replace(path=f"/{name}").geturl()
    with psycopg.connect(urlsplit(given)._replace(path="/postgres").geturl(), autocommit=True) as keeper:
        keeper.execute(sql.SQL("CREATE DATABASE {} TEMPLATE template0 ENCODING 'UTF8'").format(sql.Identifier(name)))
        os.environ["DATABASE_URL"] = url
        try:
            yield url
        finally:
            os.environ["DATABASE_URL"] = given
            keeper.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def _clear_away(folder: Path, url: str) -> None:
    """Where the path was too long for a socket, or closed to the server's account, it lies elsewhere."""
    socket = Path(conninfo_to_dict(url)["host"])
    for away in (socket.parent, (folder / "postgres").resolve()):
        if away.name.startswith("therapy-record-"):
            shutil.rmtree(away, ignore_errors=True)


def in_turn(sides: Mapping[str, Side], *, rounds: int, warm_up: int) -> dict[str, list[float]]:
    """Milliseconds of each side in each round. They take turns in going first, so that drift meets all alike."""
    taken: dict[str, list[float]] = {name: [] for name in sides}
    names = list(sides)
    for number in range(warm_up + rounds):
        for name in names if number % 2 else reversed(names):
            started = time.perf_counter()
            sides[name](number)
            if number >= warm_up:
                taken[name].append((time.perf_counter() - started) * 1000)
    return taken


def median(taken: list[float]) -> float:
    return statistics.median(taken)


def row(name: str, *figures: str) -> None:
    print(f"{name:<44}" + "".join(f"{figure:>16}" for figure in figures), flush=True)


def judged(figure: str, *, held: bool) -> int:
    """Print the deciding line; the exit code that it stands for."""
    print(f"{figure}: {'held' if held else 'MISSED'}", flush=True)
    return 0 if held else 1


def leave(code: int) -> None:
    sys.stdout.flush()
    sys.exit(code)
