"""Attempts on the seals."""

from typing import Any

from clinic import models as m
from tests.architecture.attempts.attempt import Attempt, there_is, with_columns

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
]
TOUCHING: list[Any] = []
COMPANY: dict[tuple[str, str], dict[str, Any]] = {}
