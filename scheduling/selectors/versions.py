"""What a document's versions say of each other: what changed, and how long it took."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db.models import Min

from clinic.enums import DocumentState, SignatureMeaning
from clinic.models import Document, DocumentVersion, Signature
from clinic.rules.differences import Difference, differences
from clinic.rules.signing_limits import turnaround_days
from scheduling.rules.notes import body_of


@dataclass(frozen=True)
class VersionDifference:
    """What the author changed since the version before, and why that one was returned."""

    from_version: int
    returned_because: str
    changes: list[Difference]


def difference_of(document: Document) -> VersionDifference | None:
    """How the version that stands differs from the one before; the first differs from nothing."""
    version = document.current_version
    if version is None or version.number == 1:
        return None
    before = DocumentVersion.objects.select_related("verdict").get(document=document, number=version.number - 1)
    verdict = getattr(before, "verdict", None)
    return VersionDifference(
        from_version=before.number,
        returned_because=verdict.reason if verdict else "",
        changes=differences(body_of(bytes(before.content)), body_of(bytes(version.content))),
    )


def turnaround_of(document: Document) -> int | None:
    """Local calendar days from the first signature to the co-signature, once there is one."""
    verdict = getattr(document.current_version, "verdict", None)
    if verdict is None or document.state != DocumentState.COSIGNED.value:
        return None
    signed = Signature.objects.filter(version__document=document, meaning=SignatureMeaning.AUTHORSHIP.value)
    first, zone = (
        signed.values_list("version__document__episode__site__time_zone")
        .annotate(first=Min("signed_at"))
        .values_list("first", "version__document__episode__site__time_zone")[0]
    )
    return turnaround_days(first, verdict.at, zone=ZoneInfo(zone))
