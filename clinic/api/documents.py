"""How documents of every kind are shown, and the door that verifies them."""

import json
from collections.abc import Iterable
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Instant
from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.rules.flags import in_words, told_facts
from clinic.selectors import documents as selectors

SIGNATURE = {
    "signer": "0198a1f0-0000-7000-8000-0000000000a1",
    "printed_name": "Ana Brandt, OTA",
    "meaning": "authorship",
    "signed_at": "2026-03-31T15:02:11Z",
    "application": "session",
    "in_succession_to": None,
}
DIGEST = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"


@example(SIGNATURE)
class SignatureRecord(serializers.Serializer):
    """Who signed, in what meaning, when (21 CFR 11.50)."""

    signer = serializers.UUIDField(source="signer_id")
    printed_name = serializers.CharField()
    meaning = serializers.CharField()
    signed_at = Instant()
    application = serializers.CharField()
    in_succession_to = serializers.UUIDField(source="in_succession_to_id", allow_null=True)


@example(
    {
        "outcome": "returned",
        "by": "0198a1f0-0000-7000-8000-0000000000a2",
        "at": "2026-03-31T16:00:00Z",
        "reason": "Which prompts were given?",
        "opened_at": "2026-03-31T15:54:30Z",
        "seconds_from_opening": 330,
    }
)
class VerdictRecord(serializers.Serializer):
    """The one decision on a version, with the time from her first opening it."""

    outcome = serializers.CharField()
    by = serializers.UUIDField(source="by_id")
    at = Instant()
    reason = serializers.CharField()
    opened_at = Instant(allow_null=True, help_text="When whoever decided first fetched this version")
    seconds_from_opening = serializers.SerializerMethodField()

    def get_seconds_from_opening(self, verdict: Any) -> int | None:
        return int((verdict.at - verdict.opened_at).total_seconds()) if verdict.opened_at else None


@example(
    {
        "check": "late_entry",
        "severity": "notice",
        "subject": "",
        "facts": {"days_past_limit": 2},
        "sentence": "late entry, 4 days after the visit, 2 past the limit (12 Mar)",
        "raised_at": "2026-03-16T22:05:00Z",
        "refers_to": None,
    }
)
class FlagRecord(serializers.Serializer):
    """Something computed that the reader should see first, in one plain sentence and with the facts behind it."""

    check = serializers.CharField(source="check_name")
    severity = serializers.CharField()
    subject = serializers.CharField()
    facts = serializers.SerializerMethodField()
    sentence = serializers.SerializerMethodField()
    raised_at = Instant(allow_null=True, help_text="When it was found, if not at signing")
    refers_to = serializers.SerializerMethodField(
        help_text="Another document that it speaks of, where you may read that one too"
    )

    def get_facts(self, flag: Any) -> dict[str, Any]:
        return told_facts(flag.facts, readable=flag.refers_to_id is None or self._reads(flag))

    def get_refers_to(self, flag: Any) -> UUID | None:
        return flag.refers_to_id if self._reads(flag) else None

    def _reads(self, flag: Any) -> bool:
        return flag.refers_to_id in getattr(self.context.get("view"), "referred", ())

    def get_sentence(self, flag: Any) -> str:
        return flag.sentence or in_words(flag.check_name)


@example(
    {
        "by": "0198a1f0-0000-7000-8000-0000000000a2",
        "at": "2026-04-01T14:20:00Z",
        "reason": "Written for the visit of another day.",
    }
)
class ErrorRecord(serializers.Serializer):
    """Who said that this should not stand in the record, when and why."""

    by = serializers.UUIDField(source="by_id")
    at = Instant()
    reason = serializers.CharField()


class VersionRecord(serializers.Serializer):
    """A signed version: its content is what was signed, byte for byte when canonicalized (RFC 8785)."""

    number = serializers.IntegerField()
    digest = serializers.CharField(help_text="SHA-256 of the canonical content; send it when you co-sign or return")
    previous_digest = serializers.CharField()
    frozen_at = Instant()
    content = serializers.SerializerMethodField()
    withheld = serializers.SerializerMethodField(
        help_text="True where the content belongs to another child and is not read in this chart any more"
    )
    signatures = SignatureRecord(many=True)
    verdict = serializers.SerializerMethodField()
    flags = FlagRecord(many=True)

    def get_content(self, version: Any) -> dict[str, Any]:
        return {} if self.get_withheld(version) else json.loads(bytes(version.content))

    def get_withheld(self, version: Any) -> bool:
        return bool(getattr(version, "withheld", False))

    @extend_schema_field(VerdictRecord(allow_null=True))
    def get_verdict(self, version: Any) -> dict[str, Any] | None:
        verdict = getattr(version, "verdict", None)
        return VerdictRecord(verdict).data if verdict else None


class VersionCheckRecord(serializers.Serializer):
    """Whether one version is still what was signed."""

    number = serializers.IntegerField()
    digest = serializers.CharField()
    content_intact = serializers.BooleanField()
    chain_intact = serializers.BooleanField()
    signatures_intact = serializers.BooleanField()
    signature_count = serializers.IntegerField()


@example(
    {
        "document": "0198a1f0-0000-7000-8000-0000000000d1",
        "intact": True,
        "versions": [
            {
                "number": 1,
                "digest": DIGEST,
                "content_intact": True,
                "chain_intact": True,
                "signatures_intact": True,
                "signature_count": 2,
            }
        ],
    }
)
class VerificationRecord(serializers.Serializer):
    """Every version of a document, recomputed."""

    document = serializers.UUIDField()
    intact = serializers.BooleanField()
    versions = VersionCheckRecord(many=True)


def allow_references(door: ApiView, versions: Iterable[Any]) -> None:
    """Let flags show what they say of other documents, of those that she may read; whose these are is touched."""
    named = {flag.refers_to_id for version in versions for flag in version.flags.all()} - {None}
    found = selectors.readable(door.actor, named)
    for row in found:
        door.touch(row.client_id, row.episode_id)
    door.referred = {row.pk for row in found}  # type: ignore[attr-defined]


class DocumentVerification(ApiView):
    """Recompute the digests of a document and hold versions, signatures and verdicts against each other."""

    resource = "documents"
    act = "verify"
    actions = {"GET": Action.SEE_NOTES}
    outputs = {"GET": VerificationRecord}

    def get(self, request: Request, id: UUID) -> Response:
        document = selectors.document_for(self.actor, id)
        self.touch(document.client_id, document.episode_id)
        checks = selectors.verify(document)
        found = {"document": document.pk, "intact": all(check.intact for check in checks), "versions": checks}
        return self.show(VerificationRecord(found).data)
