"""The kind-neutral record: a draft, its frozen versions, who signed them, and what was decided on them."""

from django.db import models
from django.db.models import Case, F, Q, Value, When

from clinic.enums import DocumentKind, DocumentState, FlagSeverity, SignatureMeaning, VerdictOutcome
from clinic.models.base import ScopedModel, VersionedModel, code_field, one_of
from clinic.models.clients import Client
from clinic.models.episodes import Episode
from clinic.models.guards import append_only, fixed, never_leaves
from clinic.models.reach import DocumentQuerySet
from clinic.models.staff import Credential, Staff

IN_ERROR = DocumentState.ENTERED_IN_ERROR.value
UNFINISHED = [DocumentState.DRAFT.value, DocumentState.RETURNED.value]
AWAITING = Q(state=DocumentState.SIGNED.value, requires_cosignature=True)


class Document(VersionedModel):
    """One document about one child in one episode. Its draft may change; what was signed stands in its versions."""

    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="documents")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="documents", db_index=False)
    kind = code_field(DocumentKind)
    author = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="documents")
    service_date = models.DateField()
    state = code_field(DocumentState, default=DocumentState.DRAFT.value)
    requires_cosignature = models.BooleanField(default=False)
    cosign_owner = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    cosign_due_at = models.DateTimeField(null=True)
    current_version = models.ForeignKey("clinic.DocumentVersion", on_delete=models.PROTECT, related_name="+", null=True)
    draft = models.JSONField(null=True)
    amends = models.ForeignKey("self", on_delete=models.PROTECT, related_name="addenda", null=True)
    changed_at = models.DateTimeField()
    error = models.ForeignKey(
        "clinic.EnteredInError", on_delete=models.PROTECT, related_name="+", null=True, db_index=False
    )

    objects = DocumentQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["organization", "id", "episode"], name="document_key_with_episode"),
            one_of("kind", DocumentKind, name="document_kind_is_known"),
            one_of("state", DocumentState, name="document_state_is_known"),
            models.CheckConstraint(
                name="document_draft_means_no_version",
                condition=Q(state=DocumentState.DRAFT.value, current_version__isnull=True, draft__isnull=False)
                | Q(state=IN_ERROR, draft__isnull=False)
                | (~Q(state=DocumentState.DRAFT.value) & Q(current_version__isnull=False)),
            ),
            models.CheckConstraint(
                name="document_in_error_says_why",
                condition=Q(state=IN_ERROR, error__isnull=False) | (~Q(state=IN_ERROR) & Q(error__isnull=True)),
            ),
            models.CheckConstraint(
                name="document_signed_has_no_draft",
                condition=Q(state__in=[*UNFINISHED, IN_ERROR]) | Q(draft__isnull=True),
            ),
            models.CheckConstraint(
                name="document_awaiting_has_a_due_time",
                condition=~AWAITING | Q(cosign_due_at__isnull=False),
            ),
            models.CheckConstraint(
                name="document_addendum_amends",
                condition=Q(kind=DocumentKind.ADDENDUM.value, amends__isnull=False)
                | (~Q(kind=DocumentKind.ADDENDUM.value) & Q(amends__isnull=True)),
            ),
        ]
        indexes = [
            models.Index(fields=["cosign_owner", "cosign_due_at"], name="document_awaiting", condition=AWAITING),
            models.Index(
                fields=["author"],
                name="document_unfinished",
                condition=Q(state__in=UNFINISHED),
            ),
            models.Index(fields=["client", "service_date"], name="document_by_client"),
        ]
        triggers = [
            *fixed("organization_id", "episode_id", "client_id", "kind", "author_id", "amends_id"),
            *never_leaves("state", IN_ERROR),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


class DocumentVersion(ScopedModel):
    """What was signed, byte for byte (RFC 8785), with its SHA-256 digest."""

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="versions", db_index=False)
    number = models.PositiveIntegerField()
    content = models.BinaryField()
    digest = models.CharField(max_length=64)
    previous_digest = models.CharField(max_length=64, blank=True, default="")
    author = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    frozen_at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["document", "number"], name="document_version_number_once"),
            models.UniqueConstraint(fields=["organization", "id", "author"], name="document_version_key_with_author"),
            models.UniqueConstraint(
                fields=["organization", "id", "document"], name="document_version_key_with_document"
            ),
            models.CheckConstraint(name="document_version_numbered_from_one", condition=Q(number__gte=1)),
            models.CheckConstraint(
                name="document_version_digest_is_sha256",
                condition=Q(digest__regex=r"^[0-9a-f]{64}$"),
            ),
        ]
        triggers = append_only(told_at="frozen_at")

    def __str__(self) -> str:
        return f"version {self.number} of {self.document_id}"


class Signature(ScopedModel):
    """Who signed which version, when, and in what meaning (21 CFR 11.50); linked to it by digest (11.70)."""

    version = models.ForeignKey(DocumentVersion, on_delete=models.PROTECT, related_name="signatures")
    version_author = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    signer = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="signatures", db_index=False)
    meaning = code_field(SignatureMeaning)
    printed_name = models.CharField(max_length=300)
    credential = models.ForeignKey(Credential, on_delete=models.PROTECT, related_name="+", null=True)
    in_succession_to = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True)
    signed_at = models.DateTimeField()
    application = models.CharField(max_length=100)
    digest = models.CharField(max_length=64)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("meaning", SignatureMeaning, name="signature_meaning_is_known"),
            models.UniqueConstraint(fields=["version", "meaning"], name="signature_once_per_meaning"),
            models.UniqueConstraint(
                fields=["organization", "id", "version", "signer", "meaning"], name="signature_key_with_all_it_says"
            ),
            models.CheckConstraint(
                name="signature_author_signs_her_own",
                condition=~Q(meaning=SignatureMeaning.AUTHORSHIP.value) | Q(signer=F("version_author")),
            ),
            models.CheckConstraint(
                name="signature_cosigner_is_not_the_author",
                condition=~Q(meaning=SignatureMeaning.COSIGNATURE.value) | ~Q(signer=F("version_author")),
            ),
        ]
        indexes = [models.Index(fields=["signer", "signed_at"], name="signature_by_signer")]
        triggers = append_only(told_at="signed_at")

    def __str__(self) -> str:
        return f"{self.meaning} of {self.version_id}"


class Verdict(models.Model):
    """The one decision on a signed version: co-signed or returned. Its key settles a race between the two."""

    version = models.OneToOneField(DocumentVersion, on_delete=models.PROTECT, primary_key=True, related_name="verdict")
    organization = models.ForeignKey("clinic.Organization", on_delete=models.PROTECT, related_name="+", db_index=False)
    outcome = code_field(VerdictOutcome)
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.CharField(max_length=2000, blank=True, default="")
    opened_at = models.DateTimeField(null=True)
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="+", null=True)
    # For the key to the signature, which so can only be a co-signature, of this version, by this person.
    signature_meaning = models.GeneratedField(
        expression=Case(When(outcome=VerdictOutcome.COSIGNED.value, then=Value(SignatureMeaning.COSIGNATURE.value))),
        output_field=models.CharField(max_length=40),
        db_persist=True,
    )

    class Meta:
        constraints = [
            one_of("outcome", VerdictOutcome, name="verdict_outcome_is_known"),
            models.CheckConstraint(
                name="verdict_returned_has_a_reason",
                condition=Q(outcome=VerdictOutcome.RETURNED.value, signature__isnull=True) & ~Q(reason="")
                | Q(outcome=VerdictOutcome.COSIGNED.value, signature__isnull=False, reason=""),
            ),
            models.CheckConstraint(
                name="verdict_given_after_opening", condition=Q(opened_at__isnull=True) | Q(opened_at__lte=F("at"))
            ),
        ]
        triggers = append_only(key="version_id", told_at="at")

    def __str__(self) -> str:
        return f"{self.outcome} {self.version_id}"


class DocumentFlag(ScopedModel):
    """Something about a signed version that its reader should see first; computed, never typed.

    `raised_at` is empty where it was found at signing. `refers_to` is another document that it speaks of: of that one
    only its readers are told more than a share and a day.
    """

    version = models.ForeignKey(DocumentVersion, on_delete=models.PROTECT, related_name="flags", db_index=False)
    check_name = models.CharField(max_length=60)
    subject = models.CharField(max_length=60, blank=True, default="")
    severity = code_field(FlagSeverity)
    facts = models.JSONField(default=dict)
    sentence = models.CharField(max_length=500, blank=True, db_default="", default="")
    raised_at = models.DateTimeField(null=True)
    refers_to = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("severity", FlagSeverity, name="document_flag_severity_is_known"),
            models.UniqueConstraint(fields=["version", "check_name", "subject"], name="document_flag_once"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return self.check_name


class VersionOpening(ScopedModel):
    """A version was fetched by somebody who may be asked to co-sign it, with so many flags shown.

    Her first row is when she opened it; another follows where she fetched it again with more flags.
    """

    version = models.ForeignKey(DocumentVersion, on_delete=models.PROTECT, related_name="openings", db_index=False)
    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    flags_shown = models.PositiveSmallIntegerField()
    opened_at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["version", "staff", "flags_shown"], name="version_opening_once"),
        ]
        triggers = append_only(told_at="opened_at")

    def __str__(self) -> str:
        return f"{self.version_id} opened by {self.staff_id}"
