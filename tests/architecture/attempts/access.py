"""Attempts on the ground floor's tables of who may decide, who was told, and who read by exception."""

from datetime import timedelta
from typing import Any

from clinic import models as m
from tests.architecture.attempts.attempt import BACKWARDS, TOMORROW, Attempt, there_is, with_columns
from tests.architecture.world import DAY, NOON

A = Attempt
AN_HOUR = timedelta(hours=1)

ATTEMPTS = [
    A(
        "court_order_ends_after_start",
        m.CourtOrder,
        "it ends before it starts",
        with_columns(**BACKWARDS),
        beside=("court_order_no_overlap",),
    ),
    A("court_order_no_overlap", m.CourtOrder, "the same right twice on a day", with_columns(), there_is(m.CourtOrder)),
    A(
        "contact_channels_are_known",
        m.Contact,
        "by a channel that nobody knows",
        with_columns(channels=["email", "carrier pigeon"]),
    ),
    A(
        "consent_revoked_says_the_day",
        m.Consent,
        "taken back by somebody on no day",
        lambda w: {"revoked_by": w.row(m.Contact)},
    ),
    A(
        "consent_revoked_says_the_day",
        m.Consent,
        "taken back by way of exception on no day",
        with_columns(revocation_exception="Her grandmother called"),
    ),
    A(
        "pin_reset_one_open",
        m.PinReset,
        "two codes are good at once",
        with_columns(),
        there_is(m.PinReset),
    ),
    A("pin_reset_expires_later", m.PinReset, "it is never good", with_columns(expires_at=NOON)),
    A("pin_reset_used_while_good", m.PinReset, "used and still open", with_columns(used_at=NOON)),
    A(
        "pin_reset_used_while_good",
        m.PinReset,
        "used after it had expired",
        with_columns(expires_at=NOON + AN_HOUR, used_at=NOON + AN_HOUR, ended_at=NOON + AN_HOUR),
    ),
    A(
        "pin_reset_used_while_good",
        m.PinReset,
        "used before it was started",
        with_columns(used_at=NOON - AN_HOUR, ended_at=NOON - AN_HOUR),
    ),
    A("pin_reset_listed_once_used", m.PinReset, "listed without having been used", with_columns(listed_at=NOON)),
    A(
        "pin_reset_listed_once_used",
        m.PinReset,
        "listed before it was used",
        with_columns(used_at=NOON, ended_at=NOON, listed_at=NOON - AN_HOUR),
    ),
    A(
        "notice_once_per_subject",
        m.Notice,
        "told twice",
        lambda w: {"subject_id": w.row(m.Staff)},
        lambda w: there_is(m.Notice, subject_id=w.row(m.Staff))(w),
    ),
    A("notice_says_no_more_than_words", m.Notice, "a sentence as its kind", with_columns(kind="Mirela is ill")),
    A("notice_says_no_more_than_words", m.Notice, "a name as its subject", with_columns(subject_kind="Mirela")),
    A(
        "notice_read_after_told",
        m.Notice,
        "read before she was told",
        with_columns(read_at=NOON - timedelta(seconds=1)),
    ),
    A("document_reading_has_a_reason", m.DocumentReading, "read for no reason", with_columns(reason="")),
    A(
        "document_reading_ends_within_the_hour",
        m.DocumentReading,
        "read for longer than an hour",
        with_columns(ends_at=NOON + timedelta(hours=1, seconds=1)),
    ),
    A(
        "document_reading_ends_within_the_hour",
        m.DocumentReading,
        "read until before it began",
        with_columns(ends_at=NOON),
    ),
    A(
        "emergency_access_ends_within_the_hour",
        m.EmergencyAccess,
        "open for longer than an hour",
        with_columns(ends_at=NOON + timedelta(hours=1, seconds=1)),
    ),
    A(
        "emergency_access_ends_within_the_hour",
        m.EmergencyAccess,
        "over before it began",
        with_columns(ends_at=NOON),
    ),
    *(
        A("emergency_access_explained_in_words", m.EmergencyAccess, why, with_columns(**columns))
        for why, columns in (
            ("explained by nothing", {"reason": "", "explained_at": NOON}),
            ("explained at no time", {"reason": "Seizure in the gym"}),
            ("explained without a word", {"explained_at": NOON}),
            ("explained before it was", {"reason": "Seizure", "explained_at": NOON - timedelta(seconds=1)}),
        )
    ),
]
TOUCHING: list[Any] = [
    (m.Notice, {}, with_columns()),
    (m.DocumentReading, {}, with_columns(ends_at=NOON + timedelta(hours=1))),
    (m.EmergencyAccess, {}, with_columns(reason="Seizure in the gym", explained_at=NOON)),
    (m.EmergencyAccess, {}, with_columns(ends_at=NOON + timedelta(hours=1))),
    (m.CourtOrder, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.CourtOrder, {}, with_columns(right="pick_up")),
]
COMPANY: dict[tuple[str, str], dict[str, Any]] = {("clinic.Consent", "revoked_by"): {"revoked_on": DAY}}
