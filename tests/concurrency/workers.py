"""A real worker beside the tests: started on a database and a broker, ended or killed, and waited for."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).resolve().parents[2]
PATIENCE = 30


def worker_environment(*, database: str, var: Path, redis: str | None = None) -> dict[str, str]:
    """This process's own, on that database, folder and broker."""
    found = os.environ | {"DATABASE_URL": database, "VAR_DIR": str(var), "DJANGO_SETTINGS_MODULE": "tests.settings"}
    found.pop("REDIS_URL", None)
    return found | ({"REDIS_URL": redis} if redis else {})


@contextmanager
def worker(environment: dict[str, str], *, queue: str = "celery") -> Iterator[subprocess.Popen]:
    """A Celery worker that takes from this queue; whatever happens, it is gone afterwards."""
    command = [sys.executable, "-m", "celery", "-A", "clinic.celery", "worker", "-P", "threads", "-c", "2", "-Q", queue]
    quietly = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel=WARNING"]
    log = Path(environment["VAR_DIR"]) / "worker.log"
    with log.open("ab") as out:
        process = subprocess.Popen([*command, *quietly], cwd=TOP, env=environment, stdout=out, stderr=out)
    try:
        yield process
    finally:
        end(process)


def end(process: subprocess.Popen) -> None:
    if process.poll() is None:
        process.terminate()
        with suppress(subprocess.TimeoutExpired):
            process.wait(5)
    kill(process)


def kill(process: subprocess.Popen) -> None:
    """As when the machine loses its power: nothing is tidied up."""
    with suppress(ProcessLookupError):
        os.kill(process.pid, signal.SIGKILL)
    process.wait(5)


def eventually(true: Callable[[], Any], *, what: str) -> Any:
    """What another process brings about; fails when it does not within the patience."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        found = true()
        if found:
            return found
        time.sleep(0.05)
    return pytest.fail(f"Not within {PATIENCE} s: {what}")
