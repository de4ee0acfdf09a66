"""What people do to the organization's note templates."""

from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, constraint_as_error
from clinic.rules.access import Actor
from clinic.services.changes import apply_changes
from scheduling.models import NoteTemplate


class TemplateNameTaken(Conflict):
    code = "template_name_taken"
    title = "The organization has a template of this name"


TAKEN = {"note_template_name_once_per_organization": TemplateNameTaken}


@transaction.atomic
def add_template(*, actor: Actor, template_id: UUID, digest: str, **wanted: Any) -> NoteTemplate:
    """A template of the organization, whose wording never changes."""
    with constraint_as_error(TAKEN):
        template = NoteTemplate.objects.create(
            pk=template_id, organization_id=actor.organization_id, created_digest=digest, **wanted
        )
    outbox.created("note_template", template)
    return template


@transaction.atomic
def change_template(*, template: NoteTemplate, **wanted: Any) -> NoteTemplate:
    """Give a template another name, or retire it."""
    with constraint_as_error(TAKEN):
        apply_changes(template, wanted)
    outbox.changed("note_template", template)
    return template
