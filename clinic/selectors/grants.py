"""What the service's own database role may do, in SQL: less than its owner, and nothing that would undo a guard."""

import re
from collections.abc import Iterator

from django.apps import apps
from django.db import connection, models

NAME = re.compile(r"[a-z_][a-z0-9_]{0,62}")
ADDED = "SELECT, INSERT"
KEPT = "SELECT, INSERT, UPDATE"
FREE = "SELECT, INSERT, UPDATE, DELETE"
# Written by `migrate`, which the owner runs.
OWNERS = ("django_migrations", "django_content_type", "auth_permission")


class NotARole(ValueError):
    """A name that would have to be quoted: the statements are read by people before they are run."""


def grants(role: str) -> Iterator[str]:
    """Statements that make the role and leave it what the service needs; run again, they bring it up to date.

    Refuses with NotARole a name with other signs than small letters, digits and underscores.
    """
    if not NAME.fullmatch(role):
        raise NotARole(role)
    database = connection.ops.quote_name(str(connection.settings_dict["NAME"]))
    yield (
        f"DO $$ BEGIN IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{role}') THEN "  # noqa: S608
        f"CREATE ROLE {role} LOGIN; END IF; END $$;"
    )
    yield f"ALTER ROLE {role} NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS;"
    yield f"GRANT CONNECT ON DATABASE {database} TO {role};"
    yield f"REVOKE TEMPORARY ON DATABASE {database} FROM PUBLIC, {role};"
    yield f"REVOKE CREATE ON SCHEMA public FROM PUBLIC, {role};"
    yield f"GRANT USAGE ON SCHEMA public TO {role};"
    yield f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {role};"
    for table, rights in sorted(rights_by_table().items()):
        yield f"GRANT {rights} ON {table} TO {role};"
    yield f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {role};"


def rights_by_table() -> dict[str, str]:
    """Rows that are kept as they are may be added; rows that stay may be changed besides; others may go."""
    found = {model._meta.db_table: _rights_on(model) for model in apps.get_models(include_auto_created=True)}
    return found | dict.fromkeys(OWNERS, "SELECT")


def _rights_on(model: type[models.Model]) -> str:
    guards = {trigger.name for trigger in getattr(model._meta, "triggers", None) or []}
    if "never_changed" in guards:
        return ADDED
    return KEPT if "never_removed" in guards else FREE
