"""What happened, for those who listen: messages with one handling row a listener, and the feed of changes."""

from django.db import models
from django.db.models import Func, Q
from django.db.models.functions import Cast

from clinic.enums import ChangeKind
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.clients import Client
from clinic.models.episodes import Episode
from clinic.models.guards import append_only
from clinic.models.staff import Staff

OPEN = Q(done_at__isnull=True, dead_at__isnull=True)


class OutboxMessage(ScopedModel):
    """One thing that happened, written in the transaction in which it did. It carries ids, never content."""

    topic = models.CharField(max_length=60)
    refs = models.JSONField(default=dict)
    created_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.topic


class OutboxHandling(ScopedModel):
    """One listener's work on one message, so that a failing listener repeats alone."""

    message = models.ForeignKey(OutboxMessage, on_delete=models.CASCADE, related_name="handlings", db_index=False)
    handler = models.CharField(max_length=100)
    attempts = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    dead_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=200, blank=True, default="")

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["message", "handler"], name="outbox_handling_once_per_listener"),
            models.CheckConstraint(
                name="outbox_handling_ends_one_way", condition=Q(done_at__isnull=True) | Q(dead_at__isnull=True)
            ),
        ]
        indexes = [models.Index(fields=["not_before"], name="outbox_handling_open", condition=OPEN)]

    def __str__(self) -> str:
        return f"{self.handler} of {self.message_id}"


class ChangeFeed(models.Model):
    """One change of one record, in the order of a sequence; readers take only what no running transaction precedes."""

    seq = models.BigAutoField(primary_key=True)
    organization = models.ForeignKey("clinic.Organization", on_delete=models.PROTECT, related_name="+", db_index=False)
    transaction_id = models.BigIntegerField(
        db_default=Cast(Cast(Func(function="pg_current_xact_id"), models.TextField()), models.BigIntegerField())
    )
    kind = code_field(ChangeKind)
    record_kind = models.CharField(max_length=40)
    record_id = models.UUIDField()
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)

    class Meta:
        constraints = [one_of("kind", ChangeKind, name="change_feed_kind_is_known")]
        indexes = [models.Index(fields=["organization", "transaction_id", "seq"], name="change_feed_in_order")]
        triggers = append_only(key="seq")

    def __str__(self) -> str:
        return f"{self.kind} {self.record_kind} {self.record_id}"


class Idempotency(ScopedModel):
    """The stored answer to one keyed request, written in the same transaction as what it did."""

    application = models.CharField(max_length=100)
    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=100)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    body = models.BinaryField()
    expires_at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["application", "staff", "key"], name="idempotency_key_once"),
        ]
        indexes = [models.Index(fields=["expires_at"], name="idempotency_by_expiry")]

    def __str__(self) -> str:
        return f"key of {self.staff_id}"
