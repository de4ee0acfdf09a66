"""Who read a document without treating the child, for how long, and why."""

from datetime import timedelta

from django.db import models
from django.db.models import F, Q

from clinic.models.base import ScopedModel
from clinic.models.documents import Document
from clinic.models.guards import append_only
from clinic.models.reach import ScopedQuerySet
from clinic.models.staff import Staff
from clinic.rules.access import Action, Actor, Relation, relations

AN_HOUR = timedelta(hours=1)


class DocumentReadingQuerySet(ScopedQuerySet):
    """Readings of documents in reach; all of them for whoever sees the organization's."""

    def visible_to(self, actor: Actor, action: Action) -> "DocumentReadingQuerySet":
        if Relation.ORGANIZATION in relations(actor, action):
            return self.of(actor)
        return self.of(actor).filter(document__in=Document.objects.visible_to(actor, action))


class DocumentReading(ScopedModel):
    """Somebody who does not treat the child reads one document, within an hour, for a reason that she states."""

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="readings")
    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    reason = models.CharField(max_length=500)
    begun_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    objects = DocumentReadingQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.CheckConstraint(name="document_reading_has_a_reason", condition=~Q(reason="")),
            models.CheckConstraint(
                name="document_reading_ends_within_the_hour",
                condition=Q(ends_at__gt=F("begun_at"), ends_at__lte=F("begun_at") + AN_HOUR),
            ),
        ]
        indexes = [
            models.Index(
                fields=["staff", "ends_at"], include=["document", "begun_at"], name="document_reading_by_staff"
            )
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.document_id} read by {self.staff_id}"
