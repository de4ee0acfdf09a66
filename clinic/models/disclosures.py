"""What of a child's record went to somebody outside, or was asked for, and by what right."""

from django.db import models
from django.db.models import F, Q

from clinic.enums import DisclosureAuthority
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.clients import Client, Consent
from clinic.models.episodes import Episode
from clinic.models.guards import append_only
from clinic.models.reach import ReachQuerySet
from clinic.models.staff import Staff


class Disclosure(ScopedModel):
    """One request for something of a child's record, one disclosure of it, or both. It stays as it is recorded.

    A mistake is put right by another row that takes its place; both stay.
    """

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="disclosures")
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="disclosures", db_index=False)
    requested_on = models.DateField(null=True)
    disclosed_on = models.DateField(null=True)
    recipient = models.CharField(max_length=300)
    recipient_address = models.CharField(max_length=500, blank=True, default="")
    what = models.CharField(max_length=1000)
    purpose = models.CharField(max_length=1000)
    authority = code_field(DisclosureAuthority)
    consent = models.ForeignKey(Consent, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, related_name="replaced_by", null=True)
    recorded_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    recorded_at = models.DateTimeField()
    created_digest = models.CharField(max_length=64, blank=True, default="")

    objects = ReachQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("authority", DisclosureAuthority, name="disclosure_authority_is_known"),
            models.CheckConstraint(
                name="disclosure_was_requested_or_made",
                condition=Q(requested_on__isnull=False) | Q(disclosed_on__isnull=False),
            ),
            models.CheckConstraint(
                name="disclosure_follows_its_request",
                condition=Q(requested_on__isnull=True)
                | Q(disclosed_on__isnull=True)
                | Q(disclosed_on__gte=F("requested_on")),
            ),
            models.CheckConstraint(
                name="disclosure_says_to_whom_what_and_why", condition=~Q(recipient="") & ~Q(what="") & ~Q(purpose="")
            ),
            models.CheckConstraint(
                name="disclosure_consent_is_the_authorization",
                condition=Q(consent__isnull=True) | Q(authority=DisclosureAuthority.AUTHORIZATION.value),
            ),
        ]
        triggers = append_only(told_at="recorded_at")

    def __str__(self) -> str:
        return f"disclosure {self.pk}"

    @property
    def version(self) -> int:
        """It never changes: one version is all there is."""
        return 1
