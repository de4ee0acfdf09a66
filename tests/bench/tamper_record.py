"""The record that is tampered with: some weeks of notes, made through the API and sealed as they came."""

from datetime import date, timedelta
from pathlib import Path

import time_machine
from celery import current_app

from clinic.services import delivery
from clinic.services.seals import seal_rows
from tests import factories as make
from tests.concurrency.racing import broker_at
from tests.scheduling.flow import Flow

FIRST_DAY = date(2026, 3, 3)


def made(*, visits: int, path: Path) -> None:
    """So many documented visits, every third note returned once, a seal after each day and one after each week."""
    current_app.loader.import_default_modules()
    with broker_at("memory://"):
        flow = Flow()
        goal = flow.goal_of_ten(baseline=[3, 4, 3], needed=8)
        for number in range(visits):
            day = str(FIRST_DAY + timedelta(days=number))
            _documented(flow, goal, day, successes=3 + number % 7, returned=number % 3 == 2)
            _sealed(day, path)


def _documented(flow: Flow, goal: str, day: str, *, successes: int, returned: bool) -> None:
    part = flow.visit(day)
    note = flow.put_note(part, successes=successes, goal=goal, at=f"{day} 17:00")
    flow.sign(note, at=f"{day} 17:05")
    with time_machine.travel(make.at(f"{day} 17:30"), tick=False):
        read = flow.read(note, flow.ruth)
        if returned:
            flow.send_back(note, digest=read["current"]["digest"], reason="Please count again", at=f"{day} 17:31")
            note = flow.revise(note, part, successes=successes + 1, goal=goal, at=f"{day} 17:40")
            flow.sign(note, at=f"{day} 17:41")
            read = flow.read(note, flow.ruth)
    flow.cosign(note, digest=read["current"]["digest"], at=f"{day} 18:00")
    with time_machine.travel(make.at(f"{day} 18:01"), tick=False):
        delivery.deliver_outbox()


def _sealed(day: str, path: Path) -> None:
    seal_rows(now=make.at(f"{day} 18:02"), path=path)
