"""Doors to the organization's note templates."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, StrictInput, Text
from clinic.api.views import ChangeDoor, ListDoor
from clinic.rules.access import Action
from scheduling.models import NoteTemplate
from scheduling.rules.sections import SECTIONS
from scheduling.selectors import note_templates as selectors
from scheduling.services import note_templates as services

LONGEST = 20_000
TEMPLATE = {
    "name": "Dressing at the table",
    "subjective": "",
    "objective": "Seated at the table with feet supported, the child worked on fastenings.",
    "assessment": "",
    "plan": "Go on as planned.",
}


def section() -> Text:
    return Text(multiline=True, max_length=LONGEST, allow_blank=True, required=False)


@example(TEMPLATE)
class NoteTemplateIn(StrictInput):
    """A name, and what each section begins with; once recorded the wording stays."""

    name = Text(max_length=200)
    subjective = section()
    objective = section()
    assessment = section()
    plan = section()
    retired_on = Day(required=False, allow_null=True, help_text="From when it is no longer offered")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not any(attrs.get(name) for name in SECTIONS):
            raise serializers.ValidationError({"objective": ["A template says something"]}, code="empty")
        return attrs


@example({"name": "Dressing, seated", "retired_on": "2026-09-01"})
class NoteTemplateChangeIn(StrictInput):
    """Another name, or the day from which it is no longer offered."""

    name = Text(max_length=200, required=False)
    retired_on = Day(required=False, allow_null=True)


class NoteTemplateRecord(serializers.Serializer):
    """A template of the organization."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    name = serializers.CharField()
    subjective = serializers.CharField()
    objective = serializers.CharField()
    assessment = serializers.CharField()
    plan = serializers.CharField()
    retired_on = serializers.DateField(allow_null=True)


class NoteTemplateList(ListDoor):
    """The organization's note templates."""

    resource = "note_templates"
    actions = {"GET": Action.SEE_TEMPLATES}
    outputs = {"GET": NoteTemplateRecord}
    order = ("name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.templates_for(self.actor)


class NoteTemplateDetail(ChangeDoor):
    """One note template."""

    resource = "note_templates"
    actions = {"GET": Action.SEE_TEMPLATES, "PUT": Action.CHANGE_TEMPLATES, "PATCH": Action.CHANGE_TEMPLATES}
    inputs = {"PUT": NoteTemplateIn, "PATCH": NoteTemplateChangeIn}
    outputs = {"GET": NoteTemplateRecord, "PUT": NoteTemplateRecord, "PATCH": NoteTemplateRecord}
    told_as = {
        "GET": "One note template",
        "PUT": """Add a note template, or give it another name

        A check that looks for texts almost the same leaves its wording out.""",
        "PATCH": "Give a note template another name, or retire it",
    }
    form = NoteTemplateIn
    change_form = NoteTemplateChangeIn

    def find(self, row_id: UUID) -> NoteTemplate:
        return selectors.template_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> NoteTemplate:
        return selectors.template_for(self.actor, row_id, Action.CHANGE_TEMPLATES, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.template_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> NoteTemplate:
        return services.add_template(actor=self.actor, template_id=row_id, digest=digest, **wanted)

    def change(self, row: NoteTemplate, wanted: dict[str, Any]) -> NoteTemplate:
        return services.change_template(template=row, **wanted)
