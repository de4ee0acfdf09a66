"""Attempts on the ground floor's tables."""

from typing import Any

from uuid_utils.compat import uuid7

from clinic import models as m
from tests.architecture.attempts.attempt import BACKWARDS, TOMORROW, YESTERDAY, Attempt, there_is, with_columns
from tests.architecture.attempts.clinic_facts import AGREEING, FACTS, cosignature, cosigned
from tests.architecture.world import DAY, NOON

A = Attempt
OF_EPISODE = {"scope": "episode"}


PERIODS = [
    A(
        "staff_role_ends_after_start",
        m.StaffRole,
        "a role ends before it starts",
        with_columns(**BACKWARDS),
        beside=("staff_role_no_overlap",),
    ),
    A(
        "contracted_hours_end_after_start",
        m.ContractedHours,
        "hours end before they start",
        with_columns(**BACKWARDS),
        beside=("contracted_hours_no_overlap",),
    ),
    A(
        "contact_authority_ends_after_start",
        m.ContactAuthority,
        "an authority ends before it starts",
        with_columns(**BACKWARDS),
        beside=("contact_authority_no_overlap",),
    ),
    A("consent_ends_after_start", m.Consent, "a consent ends before it starts", with_columns(**BACKWARDS)),
    A("consent_revoked_after_start", m.Consent, "revoked before given", with_columns(revoked_on=YESTERDAY)),
    A(
        "care_team_ends_after_start",
        m.CareTeam,
        "a place ends before it starts",
        with_columns(**BACKWARDS),
        beside=("care_team_assigned_no_overlap",),
    ),
    A(
        "episode_diagnosis_ends_after_start",
        m.EpisodeDiagnosis,
        "a diagnosis ends before it starts",
        with_columns(**BACKWARDS),
        beside=("episode_diagnosis_no_overlap",),
    ),
    A(
        "supervision_ends_after_start",
        m.Supervision,
        "it ends before it starts",
        with_columns(**BACKWARDS),
        beside=("supervision_one_primary_per_scope",),
    ),
    A("credential_expires_after_start", m.Credential, "expired before issued", with_columns(expires_on=YESTERDAY)),
    A(
        "staff_leaves_after_joining",
        m.Staff,
        "she leaves before she joins",
        with_columns(joined_on=DAY, left_on=YESTERDAY),
    ),
    A(
        "episode_closes_after_opening",
        m.Episode,
        "closed before opened",
        with_columns(status="finished", opened_on=DAY, closed_on=YESTERDAY),
    ),
]

OVERLAPS = [
    A("staff_role_no_overlap", m.StaffRole, "the same role twice on a day", with_columns(), there_is(m.StaffRole)),
    A(
        "contracted_hours_no_overlap",
        m.ContractedHours,
        "two contracts on a day",
        with_columns(minutes_a_week=60),
        there_is(m.ContractedHours),
    ),
    A(
        "contact_authority_no_overlap",
        m.ContactAuthority,
        "one authority held twice",
        with_columns(),
        there_is(m.ContactAuthority),
    ),
    A(
        "care_team_assigned_no_overlap",
        m.CareTeam,
        "assigned twice on a day",
        with_columns(),
        there_is(m.CareTeam),
    ),
    A(
        "episode_diagnosis_no_overlap",
        m.EpisodeDiagnosis,
        "one code twice on a day",
        with_columns(code="F82"),
        there_is(m.EpisodeDiagnosis, code="F82"),
    ),
    *(
        A(
            "supervision_one_primary_per_scope",
            m.Supervision,
            f"two primary supervisors in one {scope}",
            lambda w, of=of, scope=scope: {**of(w), "scope": scope, "supervisor": w.row(m.Staff, "second")},
            lambda w, of=of, scope=scope: w.add(m.Supervision, scope=scope, **of(w)),
        )
        for scope, of in (
            ("organization", lambda w: {}),
            ("site", lambda w: {"site": w.row(m.Site)}),
            ("episode", lambda w: {"episode": w.row(m.Episode)}),
        )
    ),
]

TWICE = [
    A(
        "site_name_once_per_organization",
        m.Site,
        "two sites of a name",
        with_columns(name="North"),
        there_is(m.Site, name="North"),
    ),
    A(
        "room_name_once_per_site",
        m.Room,
        "two rooms of a name",
        with_columns(name="Gym"),
        there_is(m.Room, name="Gym"),
    ),
    A(
        "diagnosis_code_once_per_start",
        m.DiagnosisCode,
        "a code twice from a day",
        with_columns(code="F82"),
        there_is(m.DiagnosisCode, code="F82"),
    ),
    A(
        "staff_once_per_organization",
        m.Staff,
        "one login twice at work",
        lambda w: {"user": w.row(m.User)},
        lambda w: w.add(m.Staff, user=w.row(m.User)),
    ),
    A(
        "credential_number_once",
        m.Credential,
        "one licence of two people",
        lambda w: {"number": "7", "jurisdiction": "US-IL", "staff": w.row(m.Staff, "second")},
        there_is(m.Credential, number="7", jurisdiction="US-IL"),
    ),
    A(
        "episode_one_open_per_setting",
        m.Episode,
        "two open episodes in a setting",
        with_columns(status="planned"),
        there_is(m.Episode, status="onhold", opened_on=DAY),
    ),
    A(
        "care_team_once_per_booking",
        m.CareTeam,
        "one booking counted twice",
        lambda w: {"source": "booking", "source_id": w.row(m.Site)},
        lambda w: w.add(m.CareTeam, source="booking", source_id=w.row(m.Site)),
    ),
    A(
        "document_version_number_once",
        m.DocumentVersion,
        "two versions of a number",
        with_columns(),
        there_is(m.DocumentVersion),
    ),
    A(
        "signature_once_per_meaning",
        m.Signature,
        "co-signed twice",
        lambda w: cosignature(w, signer=w.row(m.Staff, "second")),
        lambda w: w.add(m.Signature, **cosignature(w)),
    ),
    A(
        "clinic_verdict_pkey",
        m.Verdict,
        "returned after it was co-signed",
        with_columns(),
        lambda w: w.add(m.Verdict, **cosigned(w, signature=w.add(m.Signature, **cosignature(w)))),
    ),
    A(
        "document_flag_once",
        m.DocumentFlag,
        "one flag twice",
        with_columns(check_name="late"),
        there_is(m.DocumentFlag, check_name="late"),
    ),
    A(
        "version_opening_once",
        m.VersionOpening,
        "opened twice with the same flags",
        with_columns(flags_shown=2),
        there_is(m.VersionOpening, flags_shown=2),
    ),
    A(
        "outbox_handling_once_per_listener",
        m.OutboxHandling,
        "one listener twice",
        with_columns(handler="one"),
        there_is(m.OutboxHandling, handler="one"),
    ),
    A(
        "idempotency_key_once",
        m.Idempotency,
        "one key twice",
        with_columns(key="k1", application="session"),
        there_is(m.Idempotency, key="k1", application="session"),
    ),
    A("succession_once", m.Succession, "handed over twice", with_columns(), there_is(m.Succession)),
    A(
        "supervisory_contact_once_per_source",
        m.SupervisoryContact,
        "one source counted twice",
        lambda w: {"source": w.row(m.Site)},
        lambda w: w.add(m.SupervisoryContact, source=w.row(m.Site)),
    ),
    A(
        "supervisory_contact_client_once",
        m.SupervisoryContactClient,
        "one child twice in a contact",
        with_columns(discussed=True),
        there_is(m.SupervisoryContactClient),
    ),
]

POSSIBLE = [
    A("room_has_a_place", m.Room, "a room without a place", with_columns(places=0)),
    A("contracted_hours_fit_a_week", m.ContractedHours, "more than a week has", with_columns(minutes_a_week=10081)),
    *(
        A("client_gestation_is_possible", m.Client, why, with_columns(**columns))
        for why, columns in (
            ("born after 19 weeks", {"gestation_weeks": 19}),
            ("born after 46 weeks", {"gestation_weeks": 46}),
            ("days without weeks", {"gestation_days": 3}),
            ("a week of seven days", {"gestation_weeks": 30, "gestation_days": 7}),
        )
    ),
    A("outbox_handling_ends_one_way", m.OutboxHandling, "done and dead", with_columns(done_at=NOON, dead_at=NOON)),
    A("succession_has_a_reason", m.Succession, "without a reason", with_columns(reason="")),
    A(
        "succession_to_another",
        m.Succession,
        "to herself",
        lambda w: {"successor": w.row(m.Staff)},
    ),
    A(
        "supervision_not_of_oneself",
        m.Supervision,
        "over herself",
        lambda w: {"supervisor": w.row(m.Staff)},
    ),
    A(
        "supervisory_contact_of_two_people",
        m.SupervisoryContact,
        "with herself",
        lambda w: {"supervisor": w.row(m.Staff)},
    ),
    A("supervisory_contact_minutes_fit_a_day", m.SupervisoryContact, "of no minutes", with_columns(minutes=0)),
    A("supervisory_contact_minutes_fit_a_day", m.SupervisoryContact, "longer than a day", with_columns(minutes=1441)),
    *(
        A("supervision_scope_names_its_place", m.Supervision, why, columns)
        for why, columns in (
            ("a site's scope without a site", with_columns(scope="site")),
            ("an episode's scope without an episode", with_columns(**OF_EPISODE)),
            ("an episode in an organization's scope", lambda w: {"episode": w.row(m.Episode)}),
            ("a site in an episode's scope", lambda w: {**OF_EPISODE, "site": w.row(m.Site)}),
        )
    ),
    A("document_version_numbered_from_one", m.DocumentVersion, "number 0", with_columns(number=0)),
    A("document_version_digest_is_sha256", m.DocumentVersion, "no digest", with_columns(digest="")),
    A("document_version_digest_is_sha256", m.DocumentVersion, "in capitals", with_columns(digest="A" * 64)),
]

ATTEMPTS = [*PERIODS, *OVERLAPS, *TWICE, *POSSIBLE, *FACTS, *AGREEING]

TOUCHING = [
    (m.StaffRole, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.ContractedHours, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.ContactAuthority, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.CareTeam, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.EpisodeDiagnosis, {"code": "F82", "ends_on": DAY}, with_columns(code="F82", starts_on=TOMORROW)),
    (m.EpisodeDiagnosis, {"code": "F82"}, with_columns(code="G80.0")),
    (m.Supervision, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.Supervision, {}, with_columns(kind="covering")),
    (m.Supervision, {}, lambda w: {"scope": "site", "site": w.row(m.Site)}),
    (m.CareTeam, {}, with_columns(source="booking", source_id=uuid7())),
    (m.Episode, {"status": "planned"}, with_columns(setting="school")),
    (m.Episode, {"status": "cancelled", "closed_on": DAY}, with_columns()),
]

# What a key to another organization's row needs beside it, so that no other constraint refuses first.
COMPANY: dict[tuple[str, str], dict[str, Any]] = {
    ("clinic.Document", "amends"): {"kind": "addendum"},
    ("clinic.Document", "current_version"): {"state": "signed", "draft": None},
    ("clinic.Precaution", "lifted_recorded_by"): {
        "may_be_lifted_by": "family",
        "lifted_by": "family",
        "lifted_on": DAY,
    },
    ("clinic.Supervision", "site"): {"scope": "site"},
    ("clinic.Supervision", "episode"): OF_EPISODE,
    ("clinic.Verdict", "signature"): {"outcome": "cosigned", "reason": ""},
    ("clinic.CareTeam", "source_id"): {"source": "booking"},
}
