"""What a court takes from a contact: the authority stays recorded, and does not hold while the order does."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models

from clinic.enums import Right
from clinic.models.base import DAYS, ClientPeriodQuerySet, VersionedModel, code_field, ends_after_start, one_of
from clinic.models.clients import Client, Contact
from clinic.models.guards import fixed
from clinic.models.staff import Staff


class CourtOrder(VersionedModel):
    """An order that takes one right over one child away from one contact, from a day to a day."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="court_orders")
    contact = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="court_orders")
    right = code_field(Right)
    reference = models.CharField(max_length=200, blank=True, default="")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)
    recorded_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    objects = ClientPeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("right", Right, name="court_order_right_is_known"),
            ends_after_start("court_order_ends_after_start"),
            # Two orders of the same right: one that is lifted would leave the other standing unseen.
            ExclusionConstraint(
                name="court_order_no_overlap",
                expressions=[
                    ("contact", RangeOperators.EQUAL),
                    ("client", RangeOperators.EQUAL),
                    ("right", RangeOperators.EQUAL),
                    (DAYS, RangeOperators.OVERLAPS),
                ],
            ),
        ]
        triggers = fixed(
            "organization_id", "client_id", "contact_id", "right", "starts_on", "recorded_by_id", "recorded_at"
        )

    def __str__(self) -> str:
        return f"order on {self.right} of {self.contact_id}"
