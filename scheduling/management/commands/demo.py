"""Tell the story over HTTP on an invented clinic, then serve it."""

import signal
import time
from argparse import ArgumentParser
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from clinic.processes import DidNotStart, PortTaken, free_port, require_free, web, worker
from scheduling.demonstration import clinic
from scheduling.demonstration.browser import Refused
from scheduling.demonstration.story import StepFailed, Story


class Command(BaseCommand):
    """Migrates, makes one small invented clinic, goes the main way through the API, then serves until Ctrl-C."""

    help = "Tell the story of one note on an invented clinic over HTTP, then serve it until Ctrl-C"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--once", action="store_true", help="Tell the story and end; status 0 if every step held")

    def handle(self, *args: Any, port: int, once: bool, **options: Any) -> None:
        # A shell starts background jobs with SIGINT ignored: ask for it again.
        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            if not once:
                require_free(port)
            self._tell_and_serve(port, once=once)
        except KeyboardInterrupt:
            self.say("Ended.")
        except (PortTaken, DidNotStart) as exc:
            raise CommandError(str(exc)) from exc
        except (StepFailed, Refused) as exc:
            raise CommandError(f"The story broke off: {exc}") from exc

    def say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()

    def _tell_and_serve(self, port: int, *, once: bool) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        with worker(var=settings.VAR_DIR):
            # Told on a port of its own, so that whoever waits for the public one finds the story told.
            with web(port=free_port(), var=settings.VAR_DIR) as address:
                self._tell(address)
            if once:
                return
            with web(port=port, var=settings.VAR_DIR) as address:
                self._say_where(address)
                while True:
                    time.sleep(3600)

    def _tell(self, address: str) -> None:
        today = timezone.now().astimezone(ZoneInfo(clinic.ZONE)).date()
        if clinic.has_begun():
            if not clinic.has_ended():
                raise StepFailed(f"it did so before on this database: remove {settings.VAR_DIR} or name another one")
            self.say("The story has been told on this database already; it stands as it was told.")
            return
        clinic.begin(today)
        people = clinic.staff_up(address, today)
        clinic.enrol(people, today)
        self.say(f"1. {clinic.NAME} opens: Ida administers, Ruth supervises, Ana assists; Mirela is enrolled.")
        Story(people, today=today, say=self.say).tell()
        self.say("Every step held.")

    def _say_where(self, address: str) -> None:
        self.say(
            f"Serving at {address}\n"
            f"  documentation   {address}/api/v1/docs/\n"
            f"  sign in         {address}/login/  as ida, ruth or ana, password {clinic.PASSWORD}\n"
            f"  signing PIN     {clinic.PIN}\n"
            "Everybody in it is invented. This is a record-keeping aid: it informs a therapist's judgement, and\n"
            "practice acts, payers' rules and the supervising therapist come first. Ctrl-C ends it."
        )
