"""Checks the record against its seals: `manage.py audit verify`."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic.rules.seals import Broken, Finding, key_id
from clinic.selectors.seal_check import check_record

WORDS = {
    Broken.SEAL_GONE: "the seal is gone",
    Broken.SEAL_ALTERED: "the seal was altered, or set by somebody without the key",
    Broken.SEAL_KEY_UNKNOWN: "the seal was set with a key that is not known here (AUDIT_KEY, AUDIT_KEYS_BEFORE)",
    Broken.ENTRY_GONE: "its entry under the seal is gone",
    Broken.ENTRY_ALTERED: "its entry under the seal was altered",
    Broken.ENTRY_ADDED: "an entry that no seal counts was added",
    Broken.ROOT_DIFFERS: "the entries do not have the seal's root",
    Broken.ROW_CHANGED: "the row is not what was sealed",
    Broken.ROW_GONE: "the row is gone",
    Broken.ROW_ADDED: "the row was added past the service",
    Broken.ROW_BACKDATED: "the row says that it was written long before it came",
    Broken.ANCHOR_MISSING: "no anchor is here: a tail that was cut off would not show",
    Broken.ANCHOR_DIFFERS: "the anchor knows another seal of this number, and the record lacks it",
    Broken.OVERDUE: "the row has waited for its seal for too long: is a worker running?",
    Broken.EVENT_FORGED: "the event was not written by this service",
    Broken.ACT_UNTOLD: "the trail knows of no request in which this was done",
}
SHOWN = 20


class Command(BaseCommand):
    """Ends with status 1 when anything does not fit, and names what is first."""

    help = "verify: check every append-only row against its seal, and the seals against the anchor"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("act", choices=["verify"])
        parser.add_argument("--anchor", type=Path, help="the anchor's file, if it is not the one of AUDIT_ANCHOR")

    def handle(self, *args: Any, **options: Any) -> None:
        keys = [settings.AUDIT_KEY, *settings.AUDIT_KEYS_BEFORE]
        checked = check_record(
            now=timezone.now(),
            keys={key_id(key.encode()): key.encode() for key in keys},
            path=options["anchor"] or settings.AUDIT_ANCHOR,
        )
        self.stdout.write(f"{checked.seals} seals over {checked.entries} rows; {checked.waiting} rows wait for theirs.")
        if not checked.findings:
            self.stdout.write("Everything fits.")
            return
        ordered = sorted(checked.findings, key=lambda finding: finding.order)
        for finding in ordered[:SHOWN]:
            self.stdout.write(told(finding))
        if len(ordered) > SHOWN:
            self.stdout.write(f"... and {len(ordered) - SHOWN} more")
        raise CommandError(f"{len(ordered)} things do not fit. The first: {told(ordered[0])}")


def told(finding: Finding) -> str:
    """One line: which row, under which seal, and what is wrong with it."""
    where = [
        f"{finding.kind} {finding.row_id}" if finding.row_id else "",
        f"seal {finding.seal}" if finding.seal else "",
        f"entry {finding.ordinal}" if finding.ordinal else "",
        f"at {finding.told_at.isoformat()}" if finding.told_at else "",
    ]
    return f"{finding.broken.value}: {', '.join(filter(None, where))}: {WORDS[finding.broken]}"
