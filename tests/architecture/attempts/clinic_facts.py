"""Attempts on the ground floor's tables: statuses without their facts, and rows that must agree with each other."""

from typing import Any

from uuid_utils.compat import uuid7

from clinic import models as m
from tests.architecture.attempts.attempt import YESTERDAY, Attempt, with_columns
from tests.architecture.world import DAY, LATER, NOON, World

A = Attempt


def cosignature(w: World, **changes: Any) -> dict[str, Any]:
    return {"meaning": "cosignature", "signer": w.row(m.Staff, "supervisor"), **changes}


def cosigned(w: World, **changes: Any) -> dict[str, Any]:
    by = w.row(m.Staff, "supervisor")
    return {"outcome": "cosigned", "reason": "", "by": by, "signature": w.row(m.Signature), **changes}


def signed(w: World) -> dict[str, Any]:
    return {"state": "signed", "draft": None, "current_version": w.row(m.DocumentVersion)}


FACTS = [
    *(
        A("episode_status_has_its_days", m.Episode, why, with_columns(**columns))
        for why, columns in (
            ("planned and closed", {"status": "planned", "closed_on": DAY}),
            ("active and never opened", {"status": "active"}),
            ("on hold and closed", {"status": "onhold", "opened_on": DAY, "closed_on": DAY}),
            ("finished and not closed", {"status": "finished", "opened_on": DAY}),
            ("finished and never opened", {"status": "finished", "closed_on": DAY}),
            ("cancelled without a day", {"status": "cancelled"}),
        )
    ),
    A("care_team_booking_is_named", m.CareTeam, "by a booking not named", with_columns(source="booking")),
    A(
        "care_team_booking_is_named",
        m.CareTeam,
        "assigned by a booking",
        with_columns(source="assigned", source_id=uuid7()),
    ),
    *(
        A("precaution_lifted_says_by_whom", m.Precaution, why, columns)
        for why, columns in (
            ("lifted by nobody", with_columns(lifted_on=DAY)),
            (
                "lifted by another than may",
                lambda w: {
                    "may_be_lifted_by": "physician",
                    "lifted_by": "family",
                    "lifted_on": DAY,
                    "lifted_recorded_by": w.row(m.Staff),
                },
            ),
            (
                "lifted before it was set",
                lambda w: {
                    "may_be_lifted_by": "physician",
                    "lifted_by": "physician",
                    "lifted_on": YESTERDAY,
                    "lifted_recorded_by": w.row(m.Staff),
                },
            ),
            ("lifted by somebody on no day", with_columns(may_be_lifted_by="family", lifted_by="family")),
        )
    ),
    A(
        "document_draft_means_no_version",
        m.Document,
        "a draft with a version",
        lambda w: {"current_version": w.row(m.DocumentVersion)},
        change=True,
    ),
    A(
        "document_draft_means_no_version",
        m.Document,
        "signed without a version",
        with_columns(state="signed", draft=None),
        change=True,
    ),
    A("document_draft_means_no_version", m.Document, "a draft of nothing", with_columns(draft=None), change=True),
    A(
        "document_signed_has_no_draft",
        m.Document,
        "a draft beside what was signed",
        lambda w: {**signed(w), "draft": {}},
        change=True,
    ),
    A(
        "document_awaiting_has_a_due_time",
        m.Document,
        "awaiting a co-signature for ever",
        lambda w: {**signed(w), "requires_cosignature": True},
        change=True,
    ),
    A(
        "audit_clients_and_episodes_pair",
        m.AuditEvent,
        "a child without saying of which episode, or of none",
        with_columns(client_ids=[uuid7()]),
    ),
    A("document_addendum_amends", m.Document, "an addendum to nothing", with_columns(kind="addendum")),
    A(
        "document_addendum_amends",
        m.Document,
        "a note that amends",
        lambda w: {"kind": "visit_note", "amends": w.row(m.Document)},
    ),
    A(
        "signature_author_signs_her_own",
        m.Signature,
        "another signs as the author",
        lambda w: {"signer": w.row(m.Staff, "supervisor")},
    ),
    A(
        "signature_cosigner_is_not_the_author",
        m.Signature,
        "the author co-signs",
        with_columns(meaning="cosignature"),
    ),
    A("document_in_error_says_why", m.Document, "nobody says why", with_columns(state="entered-in-error"), change=True),
    A(
        "document_draft_means_no_version",
        m.Document,
        "nothing is in error",
        with_columns(state="entered-in-error", draft=None),
        change=True,
        beside=("document_in_error_says_why",),
    ),
    A("entered_in_error_has_a_reason", m.EnteredInError, "no reason", with_columns(reason="")),
    A(
        "document_in_error_says_why",
        m.Document,
        "it stands, and is in error",
        lambda w: {"error": w.row(m.EnteredInError)},
        change=True,
    ),
    A("verdict_given_after_opening", m.Verdict, "decided before it was opened", with_columns(at=NOON, opened_at=LATER)),
    *(
        A("verdict_returned_has_a_reason", m.Verdict, why, columns)
        for why, columns in (
            ("returned without a reason", with_columns(reason="")),
            ("co-signed without a signature", lambda w: cosigned(w, signature=None)),
            (
                "co-signed with a reason",
                lambda w: cosigned(w, signature=w.add(m.Signature, **cosignature(w)), reason="Well"),
            ),
            (
                "returned with a signature",
                lambda w: {"signature": w.add(m.Signature, **cosignature(w))},
            ),
        )
    ),
]

AGREEING = [
    A(
        "document_error_is_its_own",
        m.Document,
        "what is said of another document",
        lambda w: {"state": "entered-in-error", "error": w.row(m.EnteredInError, "second")},
        change=True,
    ),
    *(
        A(name, model, "an episode of another child", lambda w: {"client": w.row(m.Client, "second")})
        for name, model in (
            ("document_episode_is_the_clients", m.Document),
            ("supervisory_contact_episode_is_the_clients", m.SupervisoryContactClient),
        )
    ),
    *(
        A(
            name,
            model,
            "an episode of another child",
            lambda w: {"episode": w.row(m.Episode), "client": w.row(m.Client, "second")},
        )
        for name, model in (
            ("consent_episode_is_the_clients", m.Consent),
            ("audit_episode_is_the_clients", m.AuditEventClient),
        )
    ),
    A(
        "document_current_version_is_its_own",
        m.Document,
        "the version of another document",
        lambda w: {**signed(w), "current_version": w.row(m.DocumentVersion, "second")},
        change=True,
    ),
    A(
        "document_amends_one_of_the_same_episode",
        m.Document,
        "an addendum to another episode's note",
        lambda w: {"kind": "addendum", "amends": w.row(m.Document, "second")},
    ),
    A(
        "signature_names_the_versions_author",
        m.Signature,
        "the author's name changed to let her co-sign",
        lambda w: {"meaning": "cosignature", "version_author": w.row(m.Staff, "second")},
    ),
    A(
        "verdict_signature_is_her_cosignature",
        m.Verdict,
        "with the signature of another version",
        lambda w: cosigned(
            w,
            signature=w.add(m.Signature, "second", meaning="cosignature", signer=w.row(m.Staff, "supervisor")),
        ),
    ),
    A(
        "verdict_signature_is_her_cosignature",
        m.Verdict,
        "with the author's own signature",
        lambda w: cosigned(w, by=w.row(m.Staff), signature=w.row(m.Signature)),
    ),
    A(
        "verdict_signature_is_her_cosignature",
        m.Verdict,
        "by another than signed",
        lambda w: cosigned(w, by=w.row(m.Staff, "second"), signature=w.add(m.Signature, **cosignature(w))),
    ),
]
