"""Attempts on the seals, and on what is said to have gone out."""

from typing import Any

from clinic import models as m
from tests.architecture.attempts.attempt import YESTERDAY, Attempt, there_is, with_columns
from tests.architecture.world import DAY

A = Attempt

ATTEMPTS = [
    A("seal_hashes_are_sha256", m.Seal, "a root that is no hash", with_columns(root="x" * 64)),
    A("seal_hashes_are_sha256", m.Seal, "a seal before that is none", with_columns(previous="")),
    A("seal_hashes_are_sha256", m.Seal, "unsealed", with_columns(mac="A" * 64)),
    A("seal_stands_for_something", m.Seal, "number nought", with_columns(number=0)),
    A("seal_stands_for_something", m.Seal, "over no row", with_columns(count=0)),
    A(
        "seal_entry_once_per_row",
        m.SealEntry,
        "one row sealed twice",
        with_columns(ordinal=2, kind="clinic_signature", row_id="0198a1f0-0000-7000-8000-00000000d3a0"),
        there_is(m.SealEntry, kind="clinic_signature", row_id="0198a1f0-0000-7000-8000-00000000d3a0"),
    ),
    A("disclosure_was_requested_or_made", m.Disclosure, "on no day", with_columns(disclosed_on=None)),
    A(
        "disclosure_follows_its_request",
        m.Disclosure,
        "before it was asked for",
        with_columns(requested_on=DAY, disclosed_on=YESTERDAY),
    ),
    A("disclosure_says_to_whom_what_and_why", m.Disclosure, "to nobody", with_columns(recipient="")),
    A("disclosure_says_to_whom_what_and_why", m.Disclosure, "nothing", with_columns(what="")),
    A("disclosure_says_to_whom_what_and_why", m.Disclosure, "for nothing", with_columns(purpose="")),
    A(
        "disclosure_consent_is_the_authorization",
        m.Disclosure,
        "a consent behind a court's order",
        lambda w: {"consent": w.row(m.Consent), "authority": "court_order"},
    ),
    A(
        "disclosure_episode_is_the_clients",
        m.Disclosure,
        "of another child's episode",
        lambda w: {"client": w.row(m.Client, "another")},
    ),
]
TOUCHING: list[Any] = []
COMPANY: dict[tuple[str, str], dict[str, Any]] = {
    ("clinic.Disclosure", "consent"): {"authority": "authorization"},
}
