"""A signing PIN that its owner lost: who started another, and whether she set it."""

from django.db import models
from django.db.models import F, Q

from clinic.models.base import ScopedModel
from clinic.models.guards import fixed
from clinic.models.staff import Staff


class PinReset(ScopedModel):
    """One code that was sent to one person. It is not kept: it follows from the row and the server's key."""

    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="pin_resets", db_index=False)
    started_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    started_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    misses = models.PositiveSmallIntegerField(default=0)
    ended_at = models.DateTimeField(null=True)
    used_at = models.DateTimeField(null=True)
    listed_at = models.DateTimeField(null=True)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["staff"], name="pin_reset_one_open", condition=Q(ended_at__isnull=True)),
            models.CheckConstraint(name="pin_reset_expires_later", condition=Q(expires_at__gt=F("started_at"))),
            models.CheckConstraint(
                name="pin_reset_used_while_good",
                condition=Q(used_at__isnull=True)
                | Q(
                    used_at__gte=F("started_at"),
                    used_at__lt=F("expires_at"),
                    ended_at__isnull=False,
                    ended_at=F("used_at"),
                ),
            ),
            models.CheckConstraint(
                name="pin_reset_listed_once_used",
                condition=Q(listed_at__isnull=True) | Q(used_at__isnull=False, listed_at__gte=F("used_at")),
            ),
        ]
        indexes = [
            models.Index(
                fields=["used_at"],
                name="pin_reset_watched",
                condition=Q(used_at__isnull=False, listed_at__isnull=True),
            )
        ]
        triggers = fixed("organization_id", "staff_id", "started_by_id", "started_at", "expires_at")

    def __str__(self) -> str:
        return f"PIN reset of {self.staff_id}"
