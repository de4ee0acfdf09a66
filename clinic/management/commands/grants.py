"""Prints the SQL by which the service's own database role may do what it must and no more."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.selectors.grants import NotARole, grants


class Command(BaseCommand):
    """Read it, then run it as the owner of the tables, after each `migrate`; the service connects as the role."""

    help = "Print the SQL that makes a role for the service: it can add to what is kept as it is, and change none of it"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("role", help="the role's name: small letters, digits, underscores")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            for statement in grants(options["role"]):
                self.stdout.write(statement)
        except NotARole as exc:
            raise CommandError(f"{exc}: use small letters, digits and underscores") from exc
