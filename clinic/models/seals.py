"""Seals: which rows stand under which root, in which order, so that a later change of any of them shows."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clinic.models.guards import never_changed

HEX = r"^[0-9a-f]{64}$"


class Unsealed(models.Model):
    """A row of an append-only table that waits for its seal; written by the table's trigger, taken by the sealing."""

    seq = models.BigAutoField(primary_key=True)
    kind = models.CharField(max_length=63)
    row_id = models.UUIDField()
    asked_at = models.DateTimeField(db_default=Now())

    def __str__(self) -> str:
        return f"{self.kind} {self.row_id}"


class Seal(models.Model):
    """One batch of rows: the Merkle root over them, and a keyed hash over that and the seal before.

    Its entries are numbered through all seals, from `first` on. `caught_up`: no row waited any more when it was set.
    """

    number = models.PositiveBigIntegerField(primary_key=True)
    at = models.DateTimeField()
    first = models.PositiveBigIntegerField()
    count = models.PositiveIntegerField()
    root = models.CharField(max_length=64)
    previous = models.CharField(max_length=64)
    caught_up = models.BooleanField()
    key_id = models.CharField(max_length=16)
    mac = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="seal_hashes_are_sha256", condition=Q(root__regex=HEX, previous__regex=HEX, mac__regex=HEX)
            ),
            models.CheckConstraint(name="seal_stands_for_something", condition=Q(number__gte=1, count__gte=1)),
        ]
        triggers = never_changed()

    def __str__(self) -> str:
        return f"seal {self.number}"


class SealEntry(models.Model):
    """One row under a seal: the hash of its content, and a keyed hash that ties it to its place."""

    ordinal = models.PositiveBigIntegerField(primary_key=True)
    seal = models.ForeignKey(Seal, on_delete=models.PROTECT, related_name="+", db_index=False)
    kind = models.CharField(max_length=63)
    row_id = models.UUIDField()
    leaf = models.BinaryField()
    mac = models.BinaryField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "row_id"], name="seal_entry_once_per_row")]
        triggers = never_changed()

    def __str__(self) -> str:
        return f"entry {self.ordinal}"
