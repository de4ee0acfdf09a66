"""The door to what would be flagged if a note were signed now."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import AnyObject
from clinic.api.views import ApiView
from clinic.enums import DocumentKind, FlagSeverity
from clinic.rules.access import Action
from scheduling.selectors import notes as selectors
from scheduling.services.note_flags import flags_if_signed_now


class CheckRecord(serializers.Serializer):
    """A flag that the note would carry, in one sentence and with the facts behind it."""

    check = serializers.CharField()
    severity = serializers.ChoiceField(choices=[severity.value for severity in FlagSeverity])
    subject = serializers.CharField()
    facts = AnyObject()
    sentence = serializers.CharField()


@example(
    {
        "flags": [
            {
                "check": "planned_goal_not_measured",
                "severity": "warning",
                "subject": "0198a1f0-0000-7000-8000-0000000000e1",
                "facts": {"goal": "0198a1f0-0000-7000-8000-0000000000e1", "number": 3},
                "sentence": "goal 3 was planned, and was neither measured nor given a reason",
            }
        ]
    }
)
class NoteChecksRecord(serializers.Serializer):
    """What would be flagged, signed as it is now."""

    flags = CheckRecord(many=True)


class NoteChecks(ApiView):
    """What your note would be flagged for if you signed it now

    Of what is cheap to find; texts almost the same and values far out are looked for after signing. Nothing is
    written, and no flag refuses a signature."""

    resource = "notes"
    act = "checks"
    actions = {"GET": Action.WRITE_NOTES}
    outputs = {"GET": NoteChecksRecord}

    def get(self, request: Request, id: UUID) -> Response:
        note = selectors.note_for(self.actor, id, kind=DocumentKind.VISIT_NOTE)
        found: list[Any] = flags_if_signed_now(actor=self.actor, note=note, now=self.now)
        self.touch(note.client_id, note.episode_id)
        return self.show(NoteChecksRecord({"flags": found}).data)
