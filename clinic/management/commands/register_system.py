"""Registers a system that acts for nobody, by OAuth2's client credentials."""

from datetime import date
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic.errors import DomainError
from clinic.rules.access import SYSTEM_ACTIONS
from clinic.services.applications import register_system


class Command(BaseCommand):
    help = "Register a system, bound to one organization and to the actions named (client credentials)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="what the system is called in the trail")
        parser.add_argument("organization", type=UUID, help="id of the organization")
        parser.add_argument("actions", nargs="+", metavar="action", help=", ".join(sorted(SYSTEM_ACTIONS)))
        parser.add_argument("--ends-on", type=date.fromisoformat, help="its last day, YYYY-MM-DD")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            registered = register_system(
                name=options["name"],
                organization_id=options["organization"],
                actions=options["actions"],
                ends_on=options["ends_on"],
                now=timezone.now(),
            )
        except DomainError as exc:
            raise CommandError(str(exc)) from exc
        self.stdout.write(f"client_id {registered.client_id}")
        self.stdout.write(f"client_secret {registered.secret}")
        self.stderr.write("The secret is not shown again.")
