"""The story that anyone can run, and the README's own words typed after it."""

import io
import os
import re
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress
from datetime import date
from pathlib import Path

import pytest

from clinic.processes import free_port
from scheduling.demonstration import clinic
from scheduling.demonstration.story import StepFailed
from scheduling.management.commands.demo import Command

TOP = Path(__file__).resolve().parents[2]
PRINTED = [
    "draft",
    "signed",
    "2 of the last 4 visits meet what is asked; 3 are needed.",
    "Ana Brandt",
    "cosigned",
    "True",
]


def typed(readme: str) -> str:
    """The fenced bash blocks of the README's section, one after the other."""
    section = readme.split("## The main way, by hand")[1].split("\n## ")[0]
    return "\n".join(re.findall(r"^```bash\n(.*?)^```", section, re.M | re.S))


@pytest.fixture
def served(own_database, tmp_path):
    """The demo, serving on a port of its own once its story is told; ended by the signal that a terminal sends."""
    port = free_port()
    environment = os.environ | {
        "DATABASE_URL": own_database,
        "VAR_DIR": str(tmp_path),
        "SECRET_KEY": "only-for-this-demonstration-" * 3,
        "PIN_KEY": "only-for-pins-of-this-demonstration-" * 3,
        "AUDIT_KEY": "only-for-seals-of-this-demonstration-" * 3,
        "ALLOWED_HOSTS": "127.0.0.1",
        "DJANGO_SETTINGS_MODULE": "tests.plain_settings",
    }
    environment.pop("REDIS_URL", None)
    log = tmp_path / "demo.log"
    with log.open("w") as out:
        demo = subprocess.Popen(
            [sys.executable, "manage.py", "demo", f"--port={port}"], cwd=TOP, env=environment, stdout=out, stderr=out
        )
    try:
        until = time.monotonic() + 90
        while time.monotonic() < until and demo.poll() is None:
            with suppress(OSError), urllib.request.urlopen(f"http://127.0.0.1:{port}/health/", timeout=2):
                break
            time.sleep(0.3)
        assert demo.poll() is None, log.read_text()
        yield f"http://127.0.0.1:{port}", log
    finally:
        demo.terminate()
        demo.wait(25)


def test_the_story_is_told_and_the_readme_is_true(served):
    """Every step holds; what the README types after it prints what the README says."""
    address, log = served
    assert "Every step held." in log.read_text()
    commands = typed((TOP / "README.md").read_text()).replace("http://127.0.0.1:8000", address)
    done = subprocess.run(["bash", "-c", commands], capture_output=True, text=True, timeout=60, check=False)
    assert done.stdout.splitlines() == PRINTED, done.stderr


@pytest.mark.django_db
def test_a_story_that_broke_off_is_not_taken_for_told():
    """What was begun and not ended is said to be so; a story told to its end stands."""
    clinic.begin(date(2026, 3, 31))
    with pytest.raises(StepFailed, match="before on this database"):
        Command()._tell("http://nowhere.invalid")


@pytest.mark.django_db
def test_a_story_that_was_told_stands(monkeypatch):
    """It is not told twice on one database."""
    clinic.begin(date(2026, 3, 31))
    monkeypatch.setattr(clinic, "has_ended", lambda: True)
    said = io.StringIO()
    Command(stdout=said)._tell("http://nowhere.invalid")
    assert "told on this database already" in said.getvalue()
