"""The organization's own beginnings of notes."""

from django.db import models
from django.db.models import Q

from clinic.models.base import VersionedModel
from clinic.models.guards import fixed
from clinic.models.reach import ScopedQuerySet

LONGEST = 20_000


class NoteTemplate(VersionedModel):
    """A note's sections as the organization words them. The wording stays, so that later checks know it by heart."""

    name = models.CharField(max_length=200)
    subjective = models.TextField(max_length=LONGEST, blank=True, default="")
    objective = models.TextField(max_length=LONGEST, blank=True, default="")
    assessment = models.TextField(max_length=LONGEST, blank=True, default="")
    plan = models.TextField(max_length=LONGEST, blank=True, default="")
    retired_on = models.DateField(null=True)

    objects = ScopedQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["organization", "name"], name="note_template_name_once_per_organization"),
            models.CheckConstraint(
                name="note_template_says_something",
                condition=~Q(subjective="", objective="", assessment="", plan=""),
            ),
        ]
        triggers = fixed("organization_id", "subjective", "objective", "assessment", "plan")

    def __str__(self) -> str:
        return self.name
