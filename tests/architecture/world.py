"""Rows by raw SQL: one of each table in an organization, the rows that it points to made on the way.

A new model is filled from its own fields; what its constraints ask for beyond that stands in ASKED.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import connection, models
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from uuid_utils.compat import uuid7

from clinic.models import Organization, Staff

DAY = date(2026, 3, 3)
NOON = datetime(2026, 3, 3, 18, 0, tzinfo=UTC)
LATER = NOON + timedelta(minutes=45)
APPS = ("clinic", "goals", "scheduling")
ZERO_DIGEST = "0" * 64


def every_model() -> list[type[models.Model]]:
    return [model for app in APPS for model in apps.get_app_config(app).get_models()]


def is_scoped(model: type[models.Model]) -> bool:
    return any(field.attname == "organization_id" for field in model._meta.concrete_fields)


MONTHLY = {
    "code": "reassessment",
    "title": "Reassessment",
    "subject": "episode",
    "starts": ["evaluated"],
    "closes": ["evaluated"],
    "interval": [{"number": 1, "unit": "months"}],
    "responsible": "therapist",
    "effective_from": "2020-01-01",
    "source": "common practice",
}
ASKED: dict[str, Callable[["World", str], dict[str, Any]]] = {
    "clinic.Organization": lambda w, who: {"time_zone": "America/Chicago", "country": "US"},
    "clinic.Site": lambda w, who: {"time_zone": "America/Chicago", "country": "US"},
    "clinic.Supervision": lambda w, who: {"supervisor": w.row(Staff, "supervisor"), "scope": "organization"},
    "clinic.Succession": lambda w, who: {"successor": w.row(Staff, "successor")},
    "clinic.SupervisoryContact": lambda w, who: {"supervisor": w.row(Staff, "supervisor"), "minutes": 30},
    "clinic.Notice": lambda w, who: {"kind": "pin_reset", "subject_kind": "staff"},
    "clinic.SelfGivenRight": lambda w, who: {"kind": "role"},
    "clinic.EmergencyAccess": lambda w, who: {"begun_at": NOON, "ends_at": LATER},
    "clinic.Disclosure": lambda w, who: {"disclosed_on": DAY},
    "clinic.DocumentReading": lambda w, who: {"begun_at": NOON, "ends_at": LATER},
    "clinic.PinReset": lambda w, who: {"expires_at": NOON + timedelta(days=365)},
    "clinic.Document": lambda w, who: {"draft": {}},
    "clinic.DocumentVersion": lambda w, who: {"content": b"{}", "digest": ZERO_DIGEST},
    "clinic.Seal": lambda w, who: dict.fromkeys(["root", "previous", "mac"], ZERO_DIGEST),
    "scheduling.NoteTemplate": lambda w, who: {"objective": "Seated at the table"},
    "clinic.Verdict": lambda w, who: {
        "outcome": "returned",
        "reason": "Minutes are missing",
        "by": w.row(Staff, "supervisor"),
    },
    "goals.PlanPeriod": lambda w, who: {"ends_on": DAY + timedelta(days=89)},
    "goals.OrderedScale": lambda w, who: {"levels": ["not yet", "sometimes"]},
    "goals.Clause": lambda w, who: {"value": "0.8"},
    "goals.GoalPhase": lambda w, who: {"kind": "intervention", "consistency": "in_a_row", "needed": 2},
    "goals.GoalChange": lambda w, who: {"kind": "lifecycle"},
    "goals.ReviewItem": lambda w, who: {"kind": "goal_met"},
    "goals.Measurement": lambda w, who: {"successes": 6, "counted": 8, "value": Decimal("0.75")},
    "scheduling.Visit": lambda w, who: {"ends_at": LATER},
    "scheduling.Participation": lambda w, who: {"ends_at": LATER},
    "scheduling.VisitCorrection": lambda w, who: {"was_ends_at": LATER},
    "scheduling.DeadlineRule": lambda w, who: {
        "code": f"rule of {who}",
        "settings": ["outpatient"],
        "definition": MONTHLY,
    },
    "scheduling.ReportingPeriod": lambda w, who: {"ends_on": DAY + timedelta(days=59)},
    "scheduling.Fact": lambda w, who: {"kind": "treatment_day", "subject_kind": "episode"},
    "scheduling.Deadline": lambda w, who: {"subject_kind": "episode"},
    "scheduling.DeadlineChange": lambda w, who: {"to_outcome": "open"},
    "scheduling.Booking": lambda w, who: {"staff": w.row(Staff, who), "during": DateTimeTZRange(NOON, LATER)},
}


class World:
    """One organization with at most one row of a table under each name; children of `who` point to parents of `who`."""

    def __init__(self) -> None:
        self.rows: dict[tuple[type[models.Model], str], Any] = {}

    def row(self, model: type[models.Model], who: str = "one") -> Any:
        """The key of this world's row, inserted when it is first asked for."""
        if model is Organization:
            who = "one"
        if (model, who) not in self.rows:
            self.rows[model, who] = insert(model, self.columns(model, who))
        return self.rows[model, who]

    def add(self, model: type[models.Model], who: str = "one", **changes: Any) -> Any:
        """One more row, beside the one of that name, with these columns changed."""
        return insert(model, self.columns(model, who, **changes))

    def columns(self, model: type[models.Model], who: str = "one", **changes: Any) -> dict[str, Any]:
        asked = attnames(model, {**ASKED.get(model._meta.label, lambda w, who: {})(self, who), **changes})
        return {**dict(self._filled(model, who, set(asked))), **asked}

    def _filled(self, model: type[models.Model], who: str, known: set[str]) -> Iterator[tuple[str, Any]]:
        for field in model._meta.concrete_fields:
            if field.attname in known or field.generated or isinstance(field, models.AutoField):
                continue
            if field.db_default is not models.NOT_PROVIDED:
                continue
            yield field.attname, self._value(field, who)

    def _value(self, field: Any, who: str) -> Any:
        if field.has_default():
            return field.get_default()
        if field.null:
            return None
        if field.is_relation:
            return self.row(field.related_model, who)
        return plain_value(field)


def plain_value(field: Any) -> Any:
    if field.choices:
        return field.choices[0][0]
    if isinstance(field, models.DateTimeField):
        return NOON
    if isinstance(field, models.DateField):
        return DAY
    if isinstance(field, models.UUIDField):
        return uuid7()
    if isinstance(field, models.BooleanField):
        return False
    if isinstance(field, models.CharField | models.TextField):
        return f"{uuid7().hex[-12:]} {field.name}"[: field.max_length]
    if isinstance(field, models.IntegerField | models.DecimalField):
        return 1
    if isinstance(field, models.BinaryField):
        return b"x"
    raise NotImplementedError(f"tests/architecture/world.py knows no value for {field}: add it to ASKED")


def attnames(model: type[models.Model], changes: dict[str, Any]) -> dict[str, Any]:
    return {model._meta.get_field(name).attname: value for name, value in changes.items()}


def insert(model: type[models.Model], columns: dict[str, Any]) -> Any:
    fields = [model._meta.get_field(name) for name in columns]
    names = ", ".join(f'"{field.column}"' for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    values = [prepared(field, columns[field.attname]) for field in fields]
    key = model._meta.pk.column
    return run(f'INSERT INTO {model._meta.db_table} ({names}) VALUES ({marks}) RETURNING "{key}"', values)[0][0]


def update(model: type[models.Model], key: Any, **changes: Any) -> None:
    columns = attnames(model, changes)
    fields = [model._meta.get_field(name) for name in columns]
    listed = ", ".join(f'"{field.column}" = %s' for field in fields)
    values = [prepared(field, columns[field.attname]) for field in fields]
    run(f'UPDATE {model._meta.db_table} SET {listed} WHERE "{model._meta.pk.column}" = %s', [*values, key])


def prepared(field: Any, value: Any) -> Any:
    """As the driver takes it; a decimal as it is, since the framework would stop what is not a number."""
    return value if isinstance(value, Decimal) else field.get_db_prep_save(value, connection)


def run(statement: str, values: list[Any] | None = None) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall() if cursor.description else []
