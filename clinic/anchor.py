"""The anchor: a line for each seal in a file outside the database, and in the log. No table can unsay what it knows."""

import fcntl
import json
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import structlog

log = structlog.get_logger("seal")
BLOCK = 4096


class DamagedAnchor(ValueError):
    """A line of the anchor is not one of ours."""


@dataclass(frozen=True)
class Line:
    """One seal as the anchor knows it."""

    number: int
    count: int
    root: str
    mac: str


def lines_of(path: Path) -> Iterator[Line]:
    """Every line, oldest first; none where there is no file."""
    if path.exists():
        with path.open(encoding="ascii") as file:
            yield from map(_read, file)


def last_line(path: Path) -> Line | None:
    """The newest line, without reading the others."""
    if not path.exists() or not path.stat().st_size:
        return None
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - BLOCK))
        return _read(file.read().decode("ascii").splitlines()[-1])


def append(path: Path, lines: Iterable[Line]) -> None:
    """Add lines and keep them through a power cut; tell each in the log as well."""
    with _held(path) as file:
        for line in lines:
            file.write(json.dumps(line.__dict__) + "\n")
            log.info("sealed", seal=line.number, count=line.count, root=line.root, head=line.mac)
        file.flush()
        os.fsync(file.fileno())


@contextmanager
def _held(path: Path) -> Iterator[IO[str]]:
    path.parent.mkdir(parents=True, exist_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "w", encoding="ascii") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield file


def _read(text: str) -> Line:
    try:
        said = json.loads(text)
        return Line(int(said["number"]), int(said["count"]), str(said["root"]), str(said["mac"]))
    except (ValueError, KeyError, TypeError) as exc:
        raise DamagedAnchor(text[:80]) from exc
