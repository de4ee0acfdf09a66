"""Reads of the organization's note templates."""

from uuid import UUID

from django.db.models import QuerySet

from clinic.rules.access import Action, Actor
from clinic.selectors.rows import one
from scheduling.models import NoteTemplate
from scheduling.rules.sections import SECTIONS


def templates_for(actor: Actor, action: Action = Action.SEE_TEMPLATES) -> QuerySet[NoteTemplate]:
    """The templates of her organization; they say nothing of any child."""
    return NoteTemplate.objects.visible_to(actor, action)


def template_for(
    actor: Actor, template_id: UUID, action: Action = Action.SEE_TEMPLATES, *, lock: bool = False
) -> NoteTemplate:
    return one(templates_for(actor, action), template_id, lock=lock)


def template_exists(template_id: UUID) -> bool:
    return NoteTemplate.objects.filter(pk=template_id).exists()


def wordings(organization_id: UUID) -> list[dict[str, str]]:
    """Every template's sections, those of retired ones too: notes that began with them are still there."""
    return list(NoteTemplate.objects.filter(organization_id=organization_id).values(*SECTIONS))
