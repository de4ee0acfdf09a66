"""The machinery of the record: drafts, frozen versions, signatures, verdicts. Kinds have doors on their own floors."""

from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection, transaction
from django.db.models import OuterRef, QuerySet, Subquery

from clinic import outbox
from clinic.enums import DocumentKind, DocumentState, Role, SignatureMeaning, VerdictOutcome
from clinic.errors import Conflict, InvalidField, NotAllowed, RuleForbids, constraint_as_error
from clinic.models import (
    Credential,
    Document,
    DocumentFlag,
    DocumentVersion,
    Episode,
    Organization,
    Signature,
    Staff,
    Verdict,
)
from clinic.rules import signatures as rules
from clinic.rules.access import Actor
from clinic.rules.canonical import NotFreezable, digest, freeze
from clinic.rules.flags import Flag
from clinic.rules.signing_limits import cosign_due_at
from clinic.selectors.cosigning import Supervised, supervision_of
from clinic.services.pins import PinProof
from clinic.services.version_openings import first_opened, require_opened

SIGNED_COLUMNS = (
    "state",
    "current_version",
    "draft",
    "changed_at",
    "version",
    "cosign_owner",
    "cosign_due_at",
)


class AlreadyDecided(Conflict):
    code = "already_decided"
    title = "This version has its verdict already"


class NotEditable(Conflict):
    code = "not_editable"
    title = "What is signed is not edited: it is returned, or an addendum is added"


class NotHers(NotAllowed):
    code = "not_author"
    title = "Only its author changes or signs a document"


@transaction.atomic(savepoint=False)
def begin(
    *,
    actor: Actor,
    document_id: UUID,
    episode: Episode,
    kind: DocumentKind,
    service_date: date,
    draft: dict[str, Any],
    now: datetime,
    digest_of_body: str,
    amends: Document | None = None,
    author_id: UUID | None = None,
) -> Document:
    """A new draft, under an id that the device made; whoever puts it in its right place names its author."""
    author_id = author_id or actor.person
    document = Document.objects.create(
        pk=document_id,
        organization_id=actor.organization_id,
        episode=episode,
        client_id=episode.client_id,
        kind=kind.value,
        author_id=author_id,
        service_date=service_date,
        draft=draft,
        amends=amends,
        requires_cosignature=needs_cosignature(author_id, actor.organization_id, service_date),
        created_digest=digest_of_body,
        changed_at=now,
    )
    outbox.created("document", document, client_id=document.client_id, episode_id=document.episode_id)
    return document


NEEDS_COSIGNATURE = """
SELECT organization.cosignature_required AND NOT EXISTS (
    SELECT 1 FROM clinic_staffrole held WHERE held.staff_id = %s AND held.role = %s
      AND held.starts_on <= %s AND (held.ends_on IS NULL OR held.ends_on >= %s))
FROM clinic_organization organization WHERE organization.id = %s"""


def needs_cosignature(author_id: UUID, organization_id: UUID, service_date: date) -> bool:
    """An assistant's work is co-signed where the organization asks for it; a therapist signs alone."""
    asked: list[Any] = [author_id, Role.THERAPIST.value, service_date, service_date, organization_id]
    with connection.cursor() as cursor:
        cursor.execute(NEEDS_COSIGNATURE, asked)
        return bool(cursor.fetchone()[0])


@transaction.atomic(savepoint=False)
def revise(*, actor: Actor, document: Document, draft: dict[str, Any], now: datetime) -> Document:
    """Change a draft, or what is to become the next version of a returned document. The caller holds the lock."""
    _only_author(actor, document)
    if document.state not in (DocumentState.DRAFT, DocumentState.RETURNED):
        raise NotEditable
    document.draft = draft
    document.changed_at = now
    document.version += 1
    document.save(update_fields=["draft", "changed_at", "version"])
    outbox.changed("document", document, client_id=document.client_id, episode_id=document.episode_id)
    return document


def _only_author(actor: Actor, document: Document) -> None:
    if document.author_id != actor.staff_id:
        raise NotHers


@transaction.atomic(savepoint=False)
def sign(
    *,
    actor: Actor,
    document: Document,
    proof: PinProof,
    content: dict[str, Any],
    flags: list[Flag],
    now: datetime,
    supervised: Supervised | None = None,
) -> DocumentVersion:
    """Freeze the content as the next version and sign it; the caller holds the lock and writes what follows from it.

    A caller who has asked already under whom the author worked passes it on.
    """
    require_proof(actor, proof)
    refuse_to_sign(actor=actor, document=document)
    version = _freeze(document, content, now)
    _signature(actor, version, SignatureMeaning.AUTHORSHIP, now)
    DocumentFlag.objects.bulk_create(flag_row(version, flag) for flag in flags)
    _signed(document, version, now, actor, supervised)
    outbox.record("document.signed", organization_id=document.organization_id, now=now, document_id=document.pk)
    outbox.changed("document", document, client_id=document.client_id, episode_id=document.episode_id)
    return version


def refuse_to_sign(*, actor: Actor, document: Document) -> None:
    """Only its author signs, only a draft or a returned document that says something."""
    refusal = rules.sign_refusal(
        state=DocumentState(document.state), author_id=document.author_id, signer_id=_staff(actor)
    )
    if refusal == rules.SignRefusal.NOT_AUTHOR:
        raise NotHers
    if refusal:
        raise Conflict("Only a draft or a returned document is signed", code=refusal.value)
    if document.draft is None:
        raise Conflict("There is nothing new to sign: put the revised document first", code="nothing_to_sign")


def _staff(actor: Actor) -> UUID:
    if actor.staff_id is None:
        raise NotAllowed("A system signs nothing", code="system_signs_nothing")
    return actor.staff_id


def require_proof(actor: Actor, proof: PinProof) -> None:
    if proof.staff_id != actor.staff_id:
        raise NotAllowed("The PIN is another person's", code="wrong_pin")


def _freeze(document: Document, content: dict[str, Any], now: datetime) -> DocumentVersion:
    previous = document.current_version
    try:
        frozen = freeze(content)
    except NotFreezable as exc:
        raise InvalidField(exc.pointer, "This cannot be kept exactly", code=str(exc.code)) from exc
    return DocumentVersion.objects.create(
        organization_id=document.organization_id,
        document=document,
        number=previous.number + 1 if previous else 1,
        content=frozen,
        digest=digest(frozen),
        previous_digest=previous.digest if previous else "",
        author_id=document.author_id,
        frozen_at=now,
    )


def _signature(
    actor: Actor,
    version: DocumentVersion,
    meaning: SignatureMeaning,
    now: datetime,
    in_succession_to: UUID | None = None,
) -> Signature:
    name, credential_id, abbreviation = _name_and_credential(actor)
    printed = f"{name}, {abbreviation}" if credential_id else name
    if in_succession_to is not None:
        printed += f", in succession to {Staff.objects.get(pk=in_succession_to).printed_name}"
    return Signature.objects.create(
        organization_id=version.organization_id,
        version=version,
        version_author_id=version.author_id,
        signer_id=actor.person,
        meaning=meaning.value,
        printed_name=printed[:300],
        credential_id=credential_id,
        in_succession_to_id=in_succession_to,
        signed_at=now,
        application=actor.application,
        digest=version.digest,
    )


def _name_and_credential(actor: Actor) -> tuple[str, UUID | None, str | None]:
    """Her printed name, with the credential that she came by last."""
    held = Credential.objects.filter(staff=OuterRef("pk"), starts_on__lte=actor.today).order_by("-starts_on", "-pk")
    last = (Subquery(held.values("pk")[:1]), Subquery(held.values("abbreviation")[:1]))
    return Staff.objects.values_list("printed_name", *last).get(pk=actor.person)


def flag_row(version: DocumentVersion, flag: Flag, *, raised_at: datetime | None = None) -> DocumentFlag:
    return DocumentFlag(
        organization_id=version.organization_id,
        version=version,
        check_name=flag.check,
        subject=flag.subject,
        severity=flag.severity.value,
        facts=flag.facts,
        sentence=flag.sentence,
        raised_at=raised_at,
        refers_to_id=flag.refers_to,
    )


def _signed(
    document: Document, version: DocumentVersion, now: datetime, actor: Actor, supervised: Supervised | None
) -> None:
    document.state = DocumentState.SIGNED.value
    document.current_version = version
    document.draft = None
    document.changed_at = now
    document.version += 1
    if document.requires_cosignature:
        document.cosign_owner_id = owner_of(document, today=actor.today, supervised=supervised)
        zone = ZoneInfo(document.episode.site.time_zone)
        document.cosign_due_at = cosign_due_at(now, days=document.organization.cosign_within_days, zone=zone)
    document.save(update_fields=SIGNED_COLUMNS)


def owner_of(document: Document, *, today: date, supervised: Supervised | None = None) -> UUID | None:
    """On whose list the co-signature waits; nobody's puts it on the administrator's."""
    supervised = supervised or supervision_of(document.author_id, document.episode, today=today)
    return supervised.owner(document.service_date, today=today)


@transaction.atomic(savepoint=False)
def cosign(*, actor: Actor, document: Document, proof: PinProof, fetched_digest: str, now: datetime) -> Verdict:
    """Co-sign the version that this supervisor read. The verdict's key settles a race with a return."""
    require_proof(actor, proof)
    version, basis = _judge(actor, document, fetched_digest)
    opened_at = require_opened(actor=actor, version=version, now=now)
    with constraint_as_error({"clinic_verdict_pkey": AlreadyDecided, "signature_once_per_meaning": AlreadyDecided}):
        signature = _signature(actor, version, SignatureMeaning.COSIGNATURE, now, in_succession_to=basis)
        verdict = _verdict(actor, version, VerdictOutcome.COSIGNED, now, signature=signature, opened_at=opened_at)
    _decided(document, DocumentState.COSIGNED, now)
    outbox.record("document.cosigned", organization_id=document.organization_id, now=now, document_id=document.pk)
    return verdict


@transaction.atomic(savepoint=False)
def send_back(
    *, actor: Actor, document: Document, proof: PinProof, fetched_digest: str, reason: str, draft: dict, now: datetime
) -> Verdict:
    """Return the version to its author with a reason; what was signed becomes the draft of the next version."""
    require_proof(actor, proof)
    version, _ = _judge(actor, document, fetched_digest)
    if not reason.strip():
        raise RuleForbids("Returning needs a reason", code="reason_missing")
    with constraint_as_error({"clinic_verdict_pkey": AlreadyDecided}):
        opened_at = first_opened(actor=actor, version=version, now=now)
        verdict = _verdict(actor, version, VerdictOutcome.RETURNED, now, reason=reason, opened_at=opened_at)
    document.draft = draft
    _decided(document, DocumentState.RETURNED, now)
    outbox.record("document.returned", organization_id=document.organization_id, now=now, document_id=document.pk)
    return verdict


def _judge(actor: Actor, document: Document, fetched_digest: str) -> tuple[DocumentVersion, UUID | None]:
    """May she decide on it? Answers the version, and in succession to whom, if not on her own account."""
    supervised = supervision_of(document.author_id, document.episode, today=actor.today)
    eligible = {row.staff_id: row for row in supervised.eligible(document.service_date, today=actor.today)}
    version = document.current_version
    refusal = rules.cosign_refusal(
        state=DocumentState(document.state),
        author_id=document.author_id,
        signer_id=_staff(actor),
        eligible_ids=set(eligible),
        fetched_digest=fetched_digest,
        current_digest=version.digest if version else "",
    )
    if refusal in (rules.VerdictRefusal.OWN_DOCUMENT, rules.VerdictRefusal.NOT_SUPERVISOR):
        raise NotAllowed("Another person decides on this document", code=refusal.value)
    if refusal or version is None:
        code = refusal.value if refusal else rules.VerdictRefusal.NOT_SIGNED.value
        raise Conflict("This version is not open for a verdict", code=code, state=document.state)
    return version, eligible[_staff(actor)].in_succession_to


def _verdict(
    actor: Actor,
    version: DocumentVersion,
    outcome: VerdictOutcome,
    now: datetime,
    *,
    signature: Signature | None = None,
    reason: str = "",
    opened_at: datetime | None = None,
) -> Verdict:
    return Verdict.objects.create(
        version=version,
        organization_id=version.organization_id,
        outcome=outcome.value,
        by_id=actor.person,
        at=now,
        reason=reason,
        signature=signature,
        opened_at=opened_at,
    )


def _decided(document: Document, state: DocumentState, now: datetime) -> None:
    document.state = state.value
    document.changed_at = now
    document.version += 1
    document.save(update_fields=["state", "draft", "changed_at", "version"])
    outbox.changed("document", document, client_id=document.client_id, episode_id=document.episode_id)


def reassign_everywhere(*, now: datetime) -> int:
    """Let every waiting co-signature follow assignments, handovers and last days at work, in every organization."""
    moved = 0
    for organization in Organization.objects.only("pk", "time_zone"):
        today = now.astimezone(ZoneInfo(organization.time_zone)).date()
        moved += reassign_pending(organization_id=organization.pk, today=today)
    return moved


def reassign_pending(*, organization_id: UUID, today: date) -> int:
    """Put each waiting co-signature on the list of whoever owes it now; returns how many changed hands."""
    supervised: dict[tuple[UUID, UUID], Supervised] = {}
    moved = 0
    for document in _waiting(organization_id):
        pair = (document.author_id, document.episode_id)
        if pair not in supervised:
            supervised[pair] = supervision_of(document.author_id, document.episode, today=today)
        owner = supervised[pair].owner(document.service_date, today=today)
        if owner != document.cosign_owner_id:
            moved += _hand_on(document.pk, owner)
    return moved


def _waiting(organization_id: UUID) -> QuerySet[Document]:
    return (
        Document.objects.select_related("episode")
        .filter(organization_id=organization_id, state=DocumentState.SIGNED.value, requires_cosignature=True)
        .order_by("pk")
    )


@transaction.atomic
def _hand_on(document_id: UUID, owner: UUID | None) -> bool:
    """One document at a time, so that nobody who co-signs waits for the whole sweep."""
    rows = Document.objects.select_for_update(of=("self",), no_key=True)
    document = rows.filter(pk=document_id, state=DocumentState.SIGNED.value).first()
    if document is None:
        return False
    document.cosign_owner_id = owner
    document.version += 1
    document.save(update_fields=["cosign_owner", "version"])
    outbox.changed("document", document, client_id=document.client_id, episode_id=document.episode_id)
    return True
