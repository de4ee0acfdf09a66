"""Brings the table of diagnosis codes to the installed release of ICD-10-CM."""

from typing import Any

from django.core.management.base import BaseCommand

from clinic.rules.diagnosis_release import RELEASE_STARTS_ON, codes_of_release
from clinic.services.diagnosis_codes import load_release


class Command(BaseCommand):
    """Safe to run again: a release that is loaded already changes nothing."""

    help = "Load the installed release of ICD-10-CM into the table of diagnosis codes."

    def handle(self, *args: Any, **options: Any) -> None:
        loaded = load_release(codes_of_release(), starts_on=RELEASE_STARTS_ON)
        self.stdout.write(
            f"Release of {RELEASE_STARTS_ON}: {loaded.added} codes added, {loaded.changed} changed, "
            f"{loaded.ended} ended."
        )
