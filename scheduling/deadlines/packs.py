"""Rule packs as they are written: TOML in, checked rules out.

A pack says for which episodes it holds and lists its rules; a rule names the facts that its clock counts, how long it
runs, who owes what is due, when people are reminded, and where it comes from. Values are examples to verify locally.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from clinic.enums import Setting
from scheduling.deadlines.errors import BadPack, BadRule
from scheduling.deadlines.rules import Interval, Rule, Starts, Unit, Which
from scheduling.enums import FactKind, Responsible, SubjectKind

PACK_KEYS = frozenset({"pack", "title", "caution", "settings", "rule"})
RULE_KEYS = frozenset(
    {
        *("code", "title", "subject", "starts", "starting", "counts", "closes", "ends", "interval", "which"),
        *("responsible", "allowance_days", "remind", "statutory", "effective_from", "effective_until"),
        *("source", "version_seen"),
    }
)
REQUIRED = ("code", "title", "subject", "starts", "closes", "interval", "responsible", "effective_from", "source")


class RemindWhom(StrEnum):
    RESPONSIBLE = "responsible"
    SUPERVISOR = "supervisor"
    ADMINISTRATOR = "administrator"


@dataclass(frozen=True, kw_only=True, slots=True)
class Stage:
    """When whom to remind: so many days after the due day, before it where negative."""

    days: int
    whom: RemindWhom


@dataclass(frozen=True, kw_only=True, slots=True)
class PackRule:
    """One rule as its pack gives it; `limit` names the organization's setting that stands for the number of days."""

    rule: Rule
    title: str
    subject: SubjectKind
    responsible: Responsible
    stages: tuple[Stage, ...]
    statutory: bool
    effective_from: date
    effective_until: date | None
    source: str
    version_seen: str
    limit: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Pack:
    """A pack's rules, and the settings of the episodes for which they hold."""

    name: str
    title: str
    caution: str
    settings: frozenset[Setting]
    rules: tuple[PackRule, ...]
    definitions: tuple[dict[str, Any], ...]


def read_pack(text: str, *, file: str) -> Pack:
    """The pack that a file's text says, its rules checked; `definitions` are the rules as they can be kept as JSON.

    Raises BadPack with file, rule and reason: for what is no TOML, an unknown or a missing key, an unknown word, a
    number that no clock can follow, a rule that overlaps itself in time.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        raise BadPack(file, "", f"it is no TOML: {exc}") from exc
    _require(raw, PACK_KEYS, ("pack", "title", "caution", "settings", "rule"), file=file, rule="")
    rules = tuple(rule_of(one, file=file) for one in raw["rule"])
    _refuse_overlaps(rules, file=file)
    return Pack(
        name=raw["pack"],
        title=raw["title"],
        caution=raw["caution"],
        settings=frozenset(_word(Setting, one, file=file, rule="") for one in raw["settings"]),
        rules=rules,
        definitions=tuple(_as_json(one) for one in raw["rule"]),
    )


def _as_json(raw: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value.isoformat() if isinstance(value, date) else value for key, value in raw.items()}


def _require(raw: Mapping[str, Any], known: frozenset[str], required: tuple[str, ...], *, file: str, rule: str) -> None:
    unknown = sorted(set(raw) - known)
    if unknown:
        raise BadPack(file, rule, f"unknown key: {unknown[0]}")
    missing = [key for key in required if raw.get(key) in (None, "", [])]
    if missing:
        raise BadPack(file, rule, f"missing: {missing[0]}")


def _word(words: Any, raw: object, *, file: str, rule: str) -> Any:
    try:
        return words(raw)
    except ValueError as exc:
        raise BadPack(file, rule, f"unknown word: {raw}; known are {', '.join(words)}") from exc


def rule_of(raw: Mapping[str, Any], *, file: str, limits: Mapping[str, int] | None = None) -> PackRule:
    """One rule as a pack or a kept definition says it. `limits` are an organization's own numbers, by setting.

    Raises BadPack with file, rule and reason.
    """
    code = str(raw.get("code", ""))
    _require(raw, RULE_KEYS, REQUIRED, file=file, rule=code)

    def facts(key: str) -> frozenset[FactKind]:
        return frozenset(_word(FactKind, one, file=file, rule=code) for one in raw.get(key, []))

    intervals = tuple(_interval(one, file=file, rule=code, limits=limits or {}) for one in raw["interval"])
    try:
        rule = Rule(
            code=code,
            starts=facts("starts"),
            starting=_word(Starts, raw.get("starting", Starts.EACH), file=file, rule=code),
            intervals=intervals,
            closes=facts("closes"),
            which=_word(Which, raw.get("which", Which.FIRST), file=file, rule=code),
            counts=facts("counts"),
            ends=facts("ends"),
            allowance_days=raw.get("allowance_days", 0),
        )
    except BadRule as exc:
        raise BadPack(file, code, exc.reason) from exc
    return PackRule(
        rule=rule,
        title=raw["title"],
        subject=_word(SubjectKind, raw["subject"], file=file, rule=code),
        responsible=_word(Responsible, raw["responsible"], file=file, rule=code),
        stages=tuple(_stage(one, file=file, rule=code) for one in raw.get("remind", [])),
        statutory=raw.get("statutory", False),
        effective_from=_day(raw["effective_from"], file=file, rule=code),
        effective_until=_day(raw["effective_until"], file=file, rule=code) if "effective_until" in raw else None,
        source=raw["source"],
        version_seen=raw.get("version_seen", ""),
        limit=next((one["limit"] for one in raw["interval"] if "limit" in one), ""),
    )


def _interval(raw: Mapping[str, Any], *, file: str, rule: str, limits: Mapping[str, int]) -> Interval:
    _require(raw, frozenset({"number", "unit", "limit"}), ("unit",), file=file, rule=rule)
    unit = _word(Unit, raw["unit"], file=file, rule=rule)
    number = limits.get(raw.get("limit", ""), raw.get("number", 0 if unit == Unit.COVERED else None))
    if not isinstance(number, int) or isinstance(number, bool):
        raise BadPack(file, rule, "an interval has a whole number")
    return Interval(number=number, unit=unit)


def _stage(raw: Mapping[str, Any], *, file: str, rule: str) -> Stage:
    _require(raw, frozenset({"days", "whom"}), ("whom",), file=file, rule=rule)
    if not isinstance(raw.get("days"), int):
        raise BadPack(file, rule, "a stage of reminding has a whole number of days")
    return Stage(days=raw["days"], whom=_word(RemindWhom, raw["whom"], file=file, rule=rule))


def _day(raw: object, *, file: str, rule: str) -> date:
    if type(raw) is date:
        return raw
    try:
        return date.fromisoformat(str(raw))
    except ValueError as exc:
        raise BadPack(file, rule, f"not a day: {raw}") from exc


def _refuse_overlaps(rules: tuple[PackRule, ...], *, file: str) -> None:
    """Of one code, no two rules hold on one day."""
    ordered = sorted(rules, key=lambda one: (one.rule.code, one.effective_from))
    for before, after in zip(ordered, ordered[1:], strict=False):
        same = before.rule.code == after.rule.code
        if same and (before.effective_until is None or before.effective_until >= after.effective_from):
            raise BadPack(file, after.rule.code, f"two of this code hold on {after.effective_from}")
