"""Serve the record from this machine: web server and background worker, until Ctrl-C."""

import signal
import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from clinic.processes import DidNotStart, PortTaken, require_free, web, worker


class Command(BaseCommand):
    """Migrates the database, then serves it on loopback."""

    help = "Migrate, then serve the API and its background work on this machine until Ctrl-C"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, port: int, **options: Any) -> None:
        # A shell starts background jobs with SIGINT ignored: ask for it again.
        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            require_free(port)
            call_command("migrate", interactive=False, verbosity=0)
            with worker(var=settings.VAR_DIR), web(port=port, var=settings.VAR_DIR) as address:
                self.stdout.write(f"Serving at {address}  (API: {address}/api/v1/docs/).  Ctrl-C ends it.")
                while True:
                    time.sleep(3600)
        except KeyboardInterrupt:
            self.stdout.write("Ended.")
        except (PortTaken, DidNotStart) as exc:
            raise CommandError(str(exc)) from exc
