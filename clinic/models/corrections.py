"""What is said of the record afterwards: nothing of it is changed or taken away."""

from django.db import models
from django.db.models import Q

from clinic.models.base import ScopedModel
from clinic.models.documents import Document
from clinic.models.guards import append_only
from clinic.models.staff import Staff


class EnteredInError(ScopedModel):
    """A document that should not stand in this record: who said so, when and why.

    It stays readable and counts no more. There is no way back: what was right after all is written again.
    """

    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    at = models.DateTimeField()
    reason = models.CharField(max_length=2000)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(
                fields=["organization", "id", "document"], name="entered_in_error_key_with_document"
            ),
            models.CheckConstraint(name="entered_in_error_has_a_reason", condition=~Q(reason="")),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.document_id} entered in error"
