"""Who touched whose record, in which roles, through which application, and how it ended."""

from uuid import UUID

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.indexes import GinIndex
from django.db import models
from django.db.models import F, Q
from uuid_utils.compat import uuid7

from clinic.enums import AccountAction, Outcome
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.clients import Client
from clinic.models.episodes import Episode
from clinic.models.guards import append_only
from clinic.models.organization import User
from clinic.models.staff import Staff


class AuditEvent(ScopedModel):
    """One request that touched the record, with each client (and episode) whose record it showed or changed.

    The clients stand in two arrays of one length: fifty children of a page cost one row, not fifty-one.
    """

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
    client_ids = ArrayField(models.UUIDField(), default=list, db_default=[])
    episode_ids = ArrayField(models.UUIDField(null=True), default=list, db_default=[])
    # Set under AUDIT_KEY by clinic.audit alone; empty on events of before there were marks.
    mac = models.CharField(max_length=32, blank=True, default="", db_default="")

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("outcome", Outcome, name="audit_outcome_is_known"),
            models.CheckConstraint(
                name="audit_clients_and_episodes_pair", condition=Q(client_ids__len=F("episode_ids__len"))
            ),
        ]
        indexes = [
            models.Index(fields=["organization", "actor", "at"], name="audit_by_actor"),
            models.Index(fields=["organization", "at"], name="audit_by_time"),
            GinIndex(fields=["client_ids"], name="audit_by_touched"),
        ]
        triggers = append_only(told_at="at")

    def __str__(self) -> str:
        return f"{self.action} {self.outcome}"

    @property
    def touched(self) -> list[tuple[UUID, UUID | None]]:
        """Whose record it showed or changed: client, and episode where it was one episode's."""
        return list(zip(self.client_ids, self.episode_ids, strict=True))


class AuditEventClient(ScopedModel):
    """How events of before said whose record they touched. Nothing is added any more; what is there is still read."""

    event = models.ForeignKey(AuditEvent, on_delete=models.PROTECT, related_name="clients")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        indexes = [models.Index(fields=["organization", "client", "at"], name="audit_by_client")]
        triggers = append_only(told_at="at")

    def __str__(self) -> str:
        return f"client {self.client_id}"


class AccountEvent(models.Model):
    """One request by which somebody signed in or out, or in which nobody at work here could be made out.

    It belongs to no organization: which one an account stands for shows only once somebody has been let in.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    at = models.DateTimeField()
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    # A keyed digest of the name that was typed: it tells attempts on one account, and may have been a password.
    named = models.CharField(max_length=64, blank=True, default="")
    application = models.CharField(max_length=100, blank=True, default="")
    action = code_field(AccountAction)
    method = models.CharField(max_length=10)
    route = models.CharField(max_length=200)
    outcome = code_field(Outcome)
    status = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=60, blank=True, default="")
    address = models.GenericIPAddressField(null=True)
    request_id = models.CharField(max_length=64)
    mac = models.CharField(max_length=32, blank=True, default="", db_default="")

    class Meta:
        constraints = [
            one_of("action", AccountAction, name="account_event_action_is_known"),
            one_of("outcome", Outcome, name="account_event_outcome_is_known"),
        ]
        indexes = [
            models.Index(fields=["user", "at"], name="account_event_by_user"),
            models.Index(fields=["at"], name="account_event_by_time"),
            models.Index(fields=["named", "at"], name="account_event_by_name", condition=Q(action="sign_in")),
            models.Index(fields=["address", "at"], name="account_event_by_address", condition=Q(action="sign_in")),
        ]
        triggers = append_only(told_at="at")

    def __str__(self) -> str:
        return f"{self.action} {self.outcome}"


class SystemPrincipal(ScopedModel):
    """A system (client credentials) bound to one organization and to explicit actions. It acts for nobody."""

    application_client_id = models.CharField(max_length=100, unique=True)
    name = models.CharField(max_length=200)
    actions = ArrayField(models.CharField(max_length=60), default=list)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    def __str__(self) -> str:
        return self.name
