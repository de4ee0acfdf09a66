"""The triggers that keep rows as they are, each attempted by raw SQL, and each attempted again without it."""

from typing import Any

import pgtrigger
import pytest
from django.db import models

from tests.architecture.database import at_once, constraints_of, refused_by, sql, take_away
from tests.architecture.world import World, every_model, run

pytestmark = pytest.mark.django_db

GUARDED = [model for model in every_model() if getattr(model._meta, "triggers", None)]
KEPT_AS_THEY_ARE = {
    "clinic.AccountEvent",
    "clinic.AuditEvent",
    "clinic.AuditEventClient",
    "clinic.ChangeFeed",
    "clinic.Disclosure",
    "clinic.DocumentFlag",
    "clinic.DocumentReading",
    "clinic.DocumentVersion",
    "clinic.EnteredInError",
    "clinic.EpisodeChange",
    "clinic.Seal",
    "clinic.SealEntry",
    "clinic.SelfGivenRight",
    "clinic.Signature",
    "clinic.Succession",
    "clinic.SupervisoryContact",
    "clinic.SupervisoryContactClient",
    "clinic.Verdict",
    "clinic.VersionOpening",
    "goals.Clause",
    "goals.GoalChange",
    "goals.GoalProgressHistory",
    "goals.Measurement",
    "scheduling.DeadlineChange",
    "scheduling.ParticipationChange",
    "scheduling.ParticipationNote",
    "scheduling.VisitCorrection",
}
NEVER_REMOVED = KEPT_AS_THEY_ARE | {
    "goals.Certification",
    "clinic.CourtOrder",
    "clinic.Document",
    "clinic.EmergencyAccess",
    "clinic.Episode",
    "clinic.Notice",
    "clinic.PinReset",
    "goals.Goal",
    "goals.GoalPhase",
    "goals.OrderedScale",
    "goals.PlanPeriod",
    "goals.ReviewItem",
    "scheduling.Booking",
    "scheduling.NoteTemplate",
    "scheduling.Participation",
    "scheduling.PlannedGoal",
    "scheduling.Deadline",
    "scheduling.DeadlineRule",
    "scheduling.Fact",
    "scheduling.ReportingPeriod",
    "scheduling.Visit",
}
ANOTHER = {
    "bigint": 'COALESCE("{0}", 0) + 1',
    "boolean": 'NOT COALESCE("{0}", false)',
    "bytea": "'another'::bytea",
    "character varying": "'another'",
    "date": "'2026-04-05'::date",
    "inet": "'192.0.2.7'::inet",
    "integer": 'COALESCE("{0}", 0) + 1',
    "jsonb": """'{{"another": 1}}'::jsonb""",
    "numeric": "'0.5'::numeric",
    "smallint": 'COALESCE("{0}", 0) + 1',
    "text": "'another'",
    "timestamp with time zone": "'2026-04-05 10:00Z'::timestamptz",
    "tstzrange": "'[2026-04-05 10:00Z,2026-04-05 11:00Z)'::tstzrange",
    "uuid": "gen_random_uuid()",
    "ARRAY of _text": "'{{another}}'",
    "ARRAY of _uuid": "ARRAY[gen_random_uuid()]",
    "ARRAY of _varchar": "'{{another}}'",
}
ON_UPDATE = ("never_changed", "set_once", "identity_fixed")
labelled = pytest.mark.parametrize("model", GUARDED, ids=lambda model: model._meta.label)


def trigger_named(model: type[models.Model], name: str) -> Any:
    return next((trigger for trigger in model._meta.triggers if trigger.name == name), None)


def drop_trigger(model: type[models.Model], name: str) -> None:
    trigger = trigger_named(model, name)
    run(f'DROP TRIGGER "{trigger.get_pgid(model)}" ON {model._meta.db_table}')


def guard_of(model: type[models.Model]) -> str:
    return f"{model._meta.db_table}_guard"


def changeable_by(model: type[models.Model]) -> set[str]:
    """The columns that the model's own guard lets an UPDATE touch."""
    columns = {field.column for field in model._meta.concrete_fields}
    if trigger := trigger_named(model, "set_once"):
        return names_in(trigger)
    if trigger := trigger_named(model, "identity_fixed"):
        return columns - names_in(trigger)
    return set()


def names_in(trigger: Any) -> set[str]:
    return set(trigger.render_execute(None).split("(")[1].rstrip(")").replace("'", "").split(", "))


def types_of(model: type[models.Model]) -> dict[str, str]:
    found = (
        "SELECT column_name, data_type || CASE data_type WHEN 'ARRAY' THEN ' of ' || udt_name ELSE '' END "
        "FROM information_schema.columns WHERE table_name = %s AND is_generated = 'NEVER'"
    )
    return dict(run(found, [model._meta.db_table]))


def strip(model: type[models.Model]) -> None:
    """Leave nothing but the triggers, so that whatever still refuses is one of them."""
    at_once()
    for name in constraints_of(model):
        if name in constraints_of(model):
            take_away(model, name)


def changing(model: type[models.Model], column: str, kind: str) -> Any:
    return sql(f'UPDATE {model._meta.db_table} SET "{column}" = {ANOTHER[kind].format(column)}')


def test_what_is_kept_as_it_is():
    """At least these tables never change, and of at least these no row goes; more may join them, none may leave."""
    assert {model._meta.label for model in GUARDED if trigger_named(model, "never_changed")} >= KEPT_AS_THEY_ARE
    assert {model._meta.label for model in GUARDED if trigger_named(model, "never_removed")} >= NEVER_REMOVED
    assert {model._meta.label for model in GUARDED if trigger_named(model, "never_emptied")} >= NEVER_REMOVED


def test_what_is_kept_as_it_is_is_sealed():
    """Each table whose rows never change asks for seals, but for the seals themselves."""
    kept = {model._meta.label for model in GUARDED if trigger_named(model, "never_changed")}
    asking = {model._meta.label for model in GUARDED if trigger_named(model, "sealed_soon")}
    assert kept - asking == {"clinic.Seal", "clinic.SealEntry"}


@pytest.mark.parametrize(
    "model", [m for m in GUARDED if trigger_named(m, "sealed_soon")], ids=lambda model: model._meta.label
)
def test_a_row_asks_for_its_seal(model):
    """In the statement that adds it, under the name that the seal gives it; without the trigger it does not."""
    asked = f"SELECT row_id FROM clinic_unsealed WHERE kind = '{model._meta.db_table}'"
    World().row(model)
    key = trigger_named(model, "sealed_soon").key
    assert run(asked) == run(f'SELECT seal_key("{key}") FROM {model._meta.db_table}')
    drop_trigger(model, "sealed_soon")
    World().row(model)
    assert len(run(asked)) == 1


@labelled
def test_a_kept_row_stays_itself(model):
    """Whatever else may change on it, its id and its organization do not."""
    assert not changeable_by(model) & {"id", "organization_id"}


def test_the_database_holds_the_declared_triggers():
    """A guard stands in the database exactly where its model declares it, and is switched on."""
    declared = {(m._meta.db_table, trigger.get_pgid(m)) for m in GUARDED for trigger in m._meta.triggers}
    found = "SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'O'"
    assert set(run(found)) == declared


@labelled
def test_each_column_changes_or_is_refused_as_declared(model):
    """An UPDATE passes on the columns that may change and is refused on every other; without its guard all pass."""
    World().row(model)
    strip(model)
    types = types_of(model)
    refused = {column: refused_by(changing(model, column, kind)) for column, kind in types.items()}
    free = changeable_by(model)
    assert refused == {column: None if column in free else guard_of(model) for column in types}

    drop_trigger(model, next(name for name in ON_UPDATE if trigger_named(model, name)))
    assert {column: refused_by(changing(model, column, kind)) for column, kind in types.items()} == dict.fromkeys(types)


@pytest.mark.parametrize("model", [m for m in GUARDED if trigger_named(m, "set_once")], ids=lambda m: m._meta.label)
def test_what_is_set_once_is_not_set_again(model):
    """A column that may be filled later is filled once; without the guard it would change again."""
    World().row(model)
    strip(model)
    types = types_of(model)
    again = {column: sql(f'UPDATE {model._meta.db_table} SET "{column}" = NULL') for column in changeable_by(model)}
    for column in again:
        changing(model, column, types[column])()
    assert {column: refused_by(emptied) for column, emptied in again.items()} == dict.fromkeys(again, guard_of(model))
    drop_trigger(model, "set_once")
    assert {column: refused_by(emptied) for column, emptied in again.items()} == dict.fromkeys(again)


def test_what_is_in_error_stays_in_error():
    """Its state changes no more, everything else that may change does; without the guard it would leave again."""
    model = next(m for m in GUARDED if m._meta.label == "clinic.Document")
    World().row(model)
    strip(model)
    sql("UPDATE clinic_document SET state = 'entered-in-error'")()
    back = sql("UPDATE clinic_document SET state = 'signed'")
    assert refused_by(back) == guard_of(model)
    assert refused_by(sql("UPDATE clinic_document SET version = version + 1")) is None
    drop_trigger(model, "word_stays")
    assert refused_by(back) is None


@labelled
def test_a_row_is_not_deleted(model):
    """DELETE is refused, even of a row that nothing points to; without the guard it passes."""
    World().row(model)
    strip(model)
    delete = sql(f"DELETE FROM {model._meta.db_table}")
    assert refused_by(delete) == guard_of(model)
    drop_trigger(model, "never_removed")
    assert refused_by(delete) is None


@labelled
def test_a_table_is_not_emptied(model):
    """TRUNCATE is refused, which fires no row's trigger; without the guard it passes."""
    World().row(model)
    strip(model)
    truncate = sql(f"TRUNCATE {model._meta.db_table}")
    assert refused_by(truncate) == guard_of(model)
    drop_trigger(model, "never_emptied")
    assert refused_by(truncate) is None


@pytest.mark.parametrize("table", ["clinic_organization", "clinic_staff", "clinic_client", "clinic_user"])
def test_emptying_what_stands_below_is_refused_too(table):
    """TRUNCATE … CASCADE of a table without a guard meets the guards of the tables that hang on it."""
    assert refused_by(sql(f"TRUNCATE {table} CASCADE")).endswith("_guard")


def ignore(*triggers: tuple[type[models.Model], Any]) -> None:
    """Set the trigger library's switch for these, by their names in its older and its newer form."""
    names = [trigger.get_pgid(model) for model, trigger in triggers]
    names += [f"{model._meta.db_table}:{trigger.get_pgid(model)}" for model, trigger in triggers]
    run("SELECT set_config('pgtrigger.ignore', %s, true)", ["{" + ",".join(names) + "}"])


@labelled
def test_no_setting_lifts_a_guard(model):
    """The trigger library's switch, set for every trigger by name, lifts none of these."""
    World().row(model)
    strip(model)
    ignore(*((guarded, trigger) for guarded in GUARDED for trigger in guarded._meta.triggers))
    column = next(field.column for field in model._meta.concrete_fields if field.column not in changeable_by(model))
    assert refused_by(changing(model, column, types_of(model)[column])) == guard_of(model)
    assert refused_by(sql(f"DELETE FROM {model._meta.db_table}")) == guard_of(model)
    assert refused_by(sql(f"TRUNCATE {model._meta.db_table}")) == guard_of(model)


def test_the_setting_would_lift_a_trigger_of_the_library():
    """The control: the same switch does lift a trigger whose function the library wrote."""
    model = next(m for m in GUARDED if m._meta.label == "clinic.Signature")
    World().row(model)
    strip(model)
    planted = pgtrigger.Protect(name="planted", operation=pgtrigger.Delete)
    planted.install(model)
    drop_trigger(model, "never_removed")
    delete = sql(f"DELETE FROM {model._meta.db_table}")
    assert refused_by(delete) is not None
    ignore((model, planted))
    assert refused_by(delete) is None
