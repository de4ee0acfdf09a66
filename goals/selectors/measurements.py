"""Measurements that count: of the current version of a signed or co-signed document, and not corrected since."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from clinic.enums import DocumentState, SignatureMeaning, VerdictOutcome
from clinic.models import Document, EnteredInError, Signature, Verdict
from clinic.rules.access import Action, Actor
from goals.enums import Censored, NotMeasuredReason
from goals.models import Goal, Measurement
from goals.progress.decimals import plain
from goals.progress.results import Derived, Observation

STANDING = Q(
    version=F("document__current_version"),
    document__state__in=[DocumentState.SIGNED.value, DocumentState.COSIGNED.value],
)


def counting(
    goal_ids: Collection[UUID], *, as_of: date | None = None, known_at: datetime | None = None
) -> QuerySet[Measurement]:
    """The rows of these goals that count, up to a service date, or as it was known at an instant; one query."""
    rows = _counting(Measurement.objects.filter(goal_id__in=goal_ids), known_at)
    if as_of is not None:
        rows = rows.filter(service_date__lte=as_of)
    final = Q(document__requires_cosignature=False) | _cosigned(known_at)
    return rows.annotate(preliminary=~final).select_related("document").order_by("service_date", "pk")


def _cosigned(known_at: datetime | None) -> Q:
    if known_at is None:
        return Q(document__state=DocumentState.COSIGNED.value)
    cosigned = Verdict.objects.filter(outcome=VerdictOutcome.COSIGNED.value, at__lte=known_at)
    return Q(Exists(cosigned.filter(version=OuterRef("version"))))


def counting_in(note: Document, *, correcting: Document | None = None) -> QuerySet[Measurement]:
    """The rows of a note and of its addenda that count, apart from those of the addendum that corrects them."""
    rows = Measurement.objects.filter(Q(document=note) | Q(document__amends=note))
    if correcting is not None:
        rows = rows.exclude(document=correcting)
    return _counting(rows, None, apart_from=correcting)


def _counting(
    rows: QuerySet[Measurement], known_at: datetime | None, *, apart_from: Document | None = None
) -> QuerySet[Measurement]:
    return _standing(rows, known_at).exclude(_corrected(known_at, apart_from=apart_from))


def _corrected(known_at: datetime | None, *, apart_from: Document | None = None) -> Q:
    """Replaced by a row that stands. Corrections of a number all point to the first one, and the last one counts."""
    said = _standing(Measurement.objects.filter(replaces__isnull=False), known_at)
    if apart_from is not None:
        said = said.exclude(document=apart_from)
    later = Q(recorded_at__gt=OuterRef("recorded_at")) | Q(recorded_at=OuterRef("recorded_at"), pk__gt=OuterRef("pk"))
    again = said.filter(later, replaces=OuterRef("replaces"))
    return Q(Exists(said.filter(replaces=OuterRef("pk")))) | Q(Exists(again))


def _standing(rows: QuerySet[Measurement], known_at: datetime | None) -> QuerySet[Measurement]:
    """Rows of versions that stand: now by the document's state, earlier by what had been signed and decided."""
    if known_at is None:
        return rows.filter(STANDING)
    signed = Signature.objects.filter(meaning=SignatureMeaning.AUTHORSHIP.value, signed_at__lte=known_at)
    returned = Verdict.objects.filter(
        version=OuterRef("version"), outcome=VerdictOutcome.RETURNED.value, at__lte=known_at
    )
    later = signed.filter(version__document=OuterRef("document"), version__number__gt=OuterRef("version__number"))
    in_error = EnteredInError.objects.filter(document=OuterRef("document"), at__lte=known_at)
    stands = ~Exists(later) & ~Exists(returned) & ~Exists(in_error)
    return rows.filter(Exists(signed.filter(version=OuterRef("version"))), stands)


def observations_of(rows: Iterable[Measurement]) -> list[Observation]:
    """Rows that count, as the progress rules take them; what was added to a note belongs to the note's visit."""
    return [_observation(row) for row in rows]


def _observation(row: Any) -> Observation:
    return Observation(
        id=str(row.pk),
        day=row.service_date,
        visit=str(row.document.amends_id or row.document_id),
        derived=_derived(row),
        slot=row.slot,
        started_at=row.observed_from,
        setting=row.setting,
        partner=row.partner,
        preliminary=row.preliminary,
    )


def _derived(row: Measurement) -> Derived:
    return Derived(
        successes=row.successes,
        counted=row.counted,
        value=None if row.value is None else plain(row.value),
        censored=Censored(row.censored) if row.censored else None,
        not_measured=NotMeasuredReason(row.not_measured) if row.not_measured else None,
        parts=row.parts,
    )


def measurable_goals(organization_id: UUID, episode_id: UUID, goal_ids: Collection[UUID]) -> QuerySet[Goal]:
    """Goals of one episode with what a measurement of them is judged by; any status can be measured."""
    rows = Goal.objects.filter(organization_id=organization_id, episode_id=episode_id, pk__in=goal_ids)
    return rows.select_related("scale")


def goals_measured_in(document_id: UUID) -> list[UUID]:
    """Goals with a measurement in any version of a document, or of the one that it amends; in one order for locks."""
    amended = Document.objects.filter(pk=document_id).values("amends_id")
    rows = Measurement.objects.filter(Q(document_id=document_id) | Q(document_id__in=amended))
    return sorted(set(rows.values_list("goal_id", flat=True)))


def measurements_for(actor: Actor, goal_id: UUID) -> QuerySet[Measurement]:
    """All rows of one goal in reach, each with whether it counts now."""
    rows = Measurement.objects.visible_to(actor, Action.SEE_GOALS).filter(goal_id=goal_id)
    return rows.select_related("document", "version").annotate(corrected=_corrected(None))  # type: ignore[return-value]


def counts_now(row: Any) -> bool:
    """Whether a row of `measurements_for` counts now."""
    stands = row.document.state in (DocumentState.SIGNED, DocumentState.COSIGNED)
    return stands and row.version_id == row.document.current_version_id and not row.corrected
