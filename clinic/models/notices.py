"""What one person is told: one thing, in no clinical word."""

from django.db import models
from django.db.models import F, Q

from clinic.models.base import ScopedModel
from clinic.models.guards import only_changes
from clinic.models.reach import ScopedQuerySet
from clinic.models.staff import Staff
from clinic.rules.access import Action, Actor, Relation, relations

A_WORD = r"^[a-z]+(_[a-z]+)*$"  # no name, no sentence, no number of a child stands in such a column


class NoticeQuerySet(ScopedQuerySet):
    """Notices to the actor herself, and to nobody else."""

    def visible_to(self, actor: Actor, action: Action) -> "NoticeQuerySet":
        if Relation.SELF in relations(actor, action):
            return self.of(actor).filter(recipient_id=actor.staff_id)
        return self.none()


class Notice(ScopedModel):
    """One staff member is told one thing, once: that something of this kind happened to this row."""

    recipient = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    kind = models.CharField(max_length=40)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.UUIDField()
    at = models.DateTimeField()
    read_at = models.DateTimeField(null=True)

    objects = NoticeQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(
                fields=["recipient", "kind", "subject_kind", "subject_id"], name="notice_once_per_subject"
            ),
            models.CheckConstraint(
                name="notice_says_no_more_than_words",
                condition=Q(kind__regex=A_WORD) & Q(subject_kind__regex=A_WORD),
            ),
            models.CheckConstraint(
                name="notice_read_after_told", condition=Q(read_at__isnull=True) | Q(read_at__gte=F("at"))
            ),
        ]
        indexes = [models.Index(fields=["recipient", "-at", "-id"], name="notice_by_recipient")]
        triggers = only_changes("read_at")

    def __str__(self) -> str:
        return f"{self.kind} for {self.recipient_id}"
