"""The ground floor's tables."""

from clinic.models.audit import AccountEvent, AuditEvent, AuditEventClient, SystemPrincipal
from clinic.models.clients import Client, Consent, Contact, ContactAuthority, Precaution
from clinic.models.corrections import EnteredInError
from clinic.models.court_orders import CourtOrder
from clinic.models.disclosures import Disclosure
from clinic.models.document_readings import DocumentReading
from clinic.models.documents import Document, DocumentFlag, DocumentVersion, Signature, Verdict, VersionOpening
from clinic.models.emergencies import EmergencyAccess
from clinic.models.episodes import CareTeam, Episode, EpisodeChange, EpisodeDiagnosis
from clinic.models.notices import Notice
from clinic.models.organization import DiagnosisCode, Organization, Room, Site, User
from clinic.models.outbox import ChangeFeed, Idempotency, OutboxHandling, OutboxMessage
from clinic.models.pin_resets import PinReset
from clinic.models.seals import Seal, SealEntry, Unsealed
from clinic.models.self_given_rights import SelfGivenRight
from clinic.models.staff import ContractedHours, Credential, SigningPin, Staff, StaffRole
from clinic.models.supervision import (
    Succession,
    Supervision,
    SupervisoryContact,
    SupervisoryContactClient,
)

__all__ = [
    "AccountEvent",
    "AuditEvent",
    "AuditEventClient",
    "CareTeam",
    "ChangeFeed",
    "Client",
    "Consent",
    "Contact",
    "ContactAuthority",
    "ContractedHours",
    "CourtOrder",
    "Credential",
    "DiagnosisCode",
    "Disclosure",
    "Document",
    "DocumentFlag",
    "DocumentReading",
    "DocumentVersion",
    "EmergencyAccess",
    "EnteredInError",
    "Episode",
    "EpisodeChange",
    "EpisodeDiagnosis",
    "Idempotency",
    "Notice",
    "Organization",
    "OutboxHandling",
    "OutboxMessage",
    "PinReset",
    "Precaution",
    "Room",
    "Seal",
    "SealEntry",
    "SelfGivenRight",
    "Signature",
    "SigningPin",
    "Site",
    "Staff",
    "StaffRole",
    "Succession",
    "Supervision",
    "SupervisoryContact",
    "SupervisoryContactClient",
    "SystemPrincipal",
    "Unsealed",
    "User",
    "Verdict",
    "VersionOpening",
]
