"""The service's own processes, started and ended together: the web server and the background worker."""

import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
DIES_WITH_PARENT = 1  # PR_SET_PDEATHSIG
PATIENCE = 15


class PortTaken(Exception):
    """Somebody listens there already."""


class DidNotStart(Exception):
    """A process ended, or did not answer, before it was ready."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def require_free(port: int) -> None:
    """Refuse early and clearly, before anything was started."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as exc:
            raise PortTaken(f"Port {port} is in use: stop what listens there, or name another with --port") from exc


def _end_with_parent() -> None:
    """A killed parent takes its children along, where the system offers that."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(DIES_WITH_PARENT, signal.SIGTERM)


@contextmanager
def process(command: list[str], *, log: Path) -> Iterator[subprocess.Popen]:
    """A child outside the terminal's group, so that Ctrl-C reaches it through us; ended, if need be killed."""
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("ab") as out:
        child = subprocess.Popen(  # noqa: S603
            command,
            cwd=TOP,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=_end_with_parent,  # noqa: PLW1509
            env=os.environ | {"DJANGO_SETTINGS_MODULE": os.environ.get("DJANGO_SETTINGS_MODULE", "clinic.settings")},
        )
    try:
        yield child
    finally:
        _end(child)


def _end(child: subprocess.Popen) -> None:
    if child.poll() is None:
        with suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            child.wait(8)
    with suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()


@contextmanager
def web(*, port: int, var: Path, threads: int = 4) -> Iterator[str]:
    """The web server on this machine's loopback, answering; yields its address."""
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "clinic.wsgi:application",
        f"--bind=127.0.0.1:{port}",
        "--workers=1",
        f"--threads={threads}",
        "--worker-class=gthread",
        "--no-control-socket",
        f"--worker-tmp-dir={var}",
        "--graceful-timeout=3",
    ]
    log = var / "log" / "web.log"
    with process(command, log=log) as child:
        _wait_for(f"http://127.0.0.1:{port}/livez/", child, log)
        yield f"http://127.0.0.1:{port}"


@contextmanager
def worker(*, var: Path) -> Iterator[subprocess.Popen]:
    """The background worker with its schedule; it takes work as soon as its queue is there."""
    command = [
        sys.executable,
        "-m",
        "celery",
        "--app=clinic.celery",
        "worker",
        "--beat",
        "--pool=threads",
        "--concurrency=2",
        "--loglevel=WARNING",
        "--without-gossip",
        "--without-mingle",
        "--without-heartbeat",
    ]
    with process(command, log=var / "log" / "worker.log") as child:
        yield child


def _wait_for(url: str, child: subprocess.Popen, log: Path) -> None:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until and child.poll() is None:
        with suppress(urllib.error.URLError, OSError), urllib.request.urlopen(url, timeout=2):  # noqa: S310
            return
        time.sleep(0.1)
    tail = "\n".join(log.read_text(errors="replace").splitlines()[-15:])
    raise DidNotStart(f"The web server did not answer.\n{tail}")
