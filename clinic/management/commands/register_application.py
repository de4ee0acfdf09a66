"""Registers an application that acts for people, by OAuth2's authorization code with PKCE."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.errors import DomainError
from clinic.services.applications import register_application


class Command(BaseCommand):
    help = "Register an application that acts for a person who allows it (authorization code with PKCE)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="the name that the consent page shows")
        parser.add_argument("redirect_uris", nargs="+", metavar="redirect_uri", help="https address, matched exactly")
        parser.add_argument("--confidential", action="store_true", help="it runs on a server and can keep a secret")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            registered = register_application(
                name=options["name"], redirect_uris=options["redirect_uris"], confidential=options["confidential"]
            )
        except DomainError as exc:
            raise CommandError(str(exc)) from exc
        self.stdout.write(f"client_id {registered.client_id}")
        if registered.secret:
            self.stdout.write(f"client_secret {registered.secret}")
            self.stderr.write("The secret is not shown again.")
