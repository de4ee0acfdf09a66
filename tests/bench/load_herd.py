"""The service's processes under load: started again when they die, and killed on purpose."""

import os
import random
import signal
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, suppress
from pathlib import Path

import psutil
import psycopg

from clinic import embedded
from clinic.environment import TOP

WATCH_EVERY = 0.1


class Herd:
    """A web master with two workers, a background worker, and the database below the same folder."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder = folder
        self.commands = {"web": _web(port, folder), "background": _background()}
        self.children: dict[str, subprocess.Popen[bytes]] = {}
        self.held = ExitStack()
        self.ending = threading.Event()
        self.watching = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> "Herd":
        for name in self.commands:
            self._start(name)
        self.watching.start()
        return self

    def __exit__(self, *of: object) -> None:
        self.ending.set()
        self.watching.join()
        for child in self.children.values():
            _end_tree(child)
        self.held.close()

    def _start(self, name: str) -> None:
        with (self.folder / f"{name}.log").open("ab") as log:
            self.children[name] = subprocess.Popen(  # noqa: S603
                self.commands[name], cwd=TOP, stdout=log, stderr=log, start_new_session=True, env=dict(os.environ)
            )

    def _watch(self) -> None:
        """As a service manager does: what died is started again."""
        while not self.ending.wait(WATCH_EVERY):
            for name, child in list(self.children.items()):
                if child.poll() is not None:
                    self._start(name)

    def kill_one(self, chance: random.Random) -> str:
        """Kill a web worker, the web master or the background worker, with no warning."""
        what = chance.choice(("web worker", "web worker", "master", "background"))
        if what == "web worker":
            workers = _children_of(self.children["web"].pid)
            if not workers:
                return self.kill_one(chance)
            _kill(chance.choice(workers).pid)
        else:
            _kill(self.children["web" if what == "master" else what].pid)
        return what

    def stop_database(self) -> str:
        """Immediate shutdown (SIGQUIT: no checkpoint, sessions cut), then up again with recovery."""
        with psycopg.connect(embedded.database_url(self.folder)) as connection:
            (data,) = connection.execute("SHOW data_directory").fetchone() or ("",)
        pid = int((Path(data) / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGQUIT)
        while _runs(pid):
            time.sleep(0.02)
        self.held.enter_context(embedded.running(self.folder))
        return "database"


def _web(port: int, folder: Path) -> list[str]:
    served = [f"--bind=127.0.0.1:{port}", "--workers=2", "--threads=4", "--worker-class=gthread"]
    return [sys.executable, "-m", "gunicorn", "clinic.wsgi:application", *served, "--no-control-socket",
            f"--worker-tmp-dir={folder}", "--keep-alive=30"]  # fmt: skip


def _background() -> list[str]:
    pool = ["--beat", "--pool=threads", "--concurrency=2", "--loglevel=CRITICAL"]
    return [sys.executable, "-m", "celery", "--app=clinic.celery", "worker", *pool]


def _children_of(pid: int) -> list[psutil.Process]:
    with suppress(psutil.NoSuchProcess):
        return psutil.Process(pid).children()
    return []


def _runs(pid: int) -> bool:
    with suppress(psutil.NoSuchProcess):
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    return False


def _kill(pid: int) -> None:
    with suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)


def _end_tree(child: subprocess.Popen[bytes]) -> None:
    """Whatever a killed master left is in its session's group."""
    with suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGTERM)
    with suppress(subprocess.TimeoutExpired):
        child.wait(10)
    with suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()
