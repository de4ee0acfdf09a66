"""Calls for what a child's safety rests on, by clinicians who do not treat the child."""

from django.db import models
from django.db.models import F, Q

from clinic.models.base import ScopedModel
from clinic.models.clients import Client
from clinic.models.document_readings import AN_HOUR
from clinic.models.guards import only_changes
from clinic.models.reach import ScopedQuerySet
from clinic.models.staff import Staff
from clinic.rules.access import Action, Actor, Relation, relations


class EmergencyAccessQuerySet(ScopedQuerySet):
    """Her own calls and those about children in reach; all of them for whoever sees the organization's."""

    def visible_to(self, actor: Actor, action: Action) -> "EmergencyAccessQuerySet":
        granted = relations(actor, action)
        if Relation.ORGANIZATION in granted:
            return self.of(actor)
        hers = Q(opened_by_id=actor.staff_id) if Relation.SELF in granted else Q(pk__in=[])
        return self.of(actor).filter(hers | Q(client__in=Client.objects.visible_to(actor, action)))


class EmergencyAccess(ScopedModel):
    """A clinician asks at once for one child's precautions and emergency contacts, and says why afterwards.

    `client` is empty until she has chosen among several of the same name.
    """

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", null=True)
    opened_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.CharField(max_length=500, null=True)
    explained_at = models.DateTimeField(null=True)

    objects = EmergencyAccessQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.CheckConstraint(
                name="emergency_access_ends_within_the_hour",
                condition=Q(ends_at__gt=F("begun_at"), ends_at__lte=F("begun_at") + AN_HOUR),
            ),
            models.CheckConstraint(
                name="emergency_access_explained_in_words",
                condition=Q(reason__isnull=True, explained_at__isnull=True)
                | Q(reason__isnull=False, explained_at__isnull=False, explained_at__gte=F("begun_at")) & ~Q(reason=""),
            ),
        ]
        indexes = [
            models.Index(fields=["begun_at"], name="emergency_access_unexplained", condition=Q(reason__isnull=True))
        ]
        triggers = only_changes("client_id", "reason", "explained_at")

    def __str__(self) -> str:
        return f"emergency access by {self.opened_by_id}"
