"""Who touched whose record, in which roles, through which application, and how it ended."""

from django.contrib.postgres.fields import ArrayField
from django.db import models

from clinic.enums import Outcome
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.clients import Client
from clinic.models.episodes import Episode
from clinic.models.guards import append_only
from clinic.models.staff import Staff


class AuditEvent(ScopedModel):
    """One request that touched the record."""

    at = models.DateTimeField()
    actor = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    roles = ArrayField(models.CharField(max_length=40), default=list)
    application = models.CharField(max_length=100)
    action = models.CharField(max_length=60)
    method = models.CharField(max_length=10)
    route = models.CharField(max_length=200)
    subject_id = models.UUIDField(null=True)
    outcome = code_field(Outcome)
    status = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=60, blank=True, default="")
    reason = models.CharField(max_length=500, blank=True, default="")
    address = models.GenericIPAddressField(null=True)
    request_id = models.CharField(max_length=64)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("outcome", Outcome, name="audit_outcome_is_known"),
        ]
        indexes = [
            models.Index(fields=["organization", "actor", "at"], name="audit_by_actor"),
            models.Index(fields=["organization", "at"], name="audit_by_time"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.action} {self.outcome}"


class AuditEventClient(ScopedModel):
    """A client (and the episode) whose record one event showed or changed."""

    event = models.ForeignKey(AuditEvent, on_delete=models.PROTECT, related_name="clients")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        indexes = [models.Index(fields=["organization", "client", "at"], name="audit_by_client")]
        triggers = append_only()

    def __str__(self) -> str:
        return f"client {self.client_id}"


class SystemPrincipal(ScopedModel):
    """A system (client credentials) bound to one organization and to explicit actions. It acts for nobody."""

    application_client_id = models.CharField(max_length=100, unique=True)
    name = models.CharField(max_length=200)
    actions = ArrayField(models.CharField(max_length=60), default=list)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    def __str__(self) -> str:
        return self.name
