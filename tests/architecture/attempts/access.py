"""Attempts on the ground floor's tables of who may decide, who was told, and who read by exception."""

from datetime import timedelta
from typing import Any

from clinic import models as m
from tests.architecture.attempts.attempt import Attempt, there_is, with_columns
from tests.architecture.world import NOON

A = Attempt

ATTEMPTS = [
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
]
TOUCHING: list[Any] = [(m.Notice, {}, with_columns())]
COMPANY: dict[tuple[str, str], dict[str, Any]] = {}
