"""The databases of a test run: a template migrated once, a copy for the suite, one more for each test that commits."""

import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import django
import psycopg
import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, connections
from psycopg import sql

from clinic import embedded

TEMPLATES = "^migrated_record_[0-9a-f]{16}(_unfinished)?$"
FINISHED = "^migrated_record_[0-9a-f]{16}$"
COPIES = "^test_record_[0-9a-f]{16}$"


@pytest.fixture(scope="session")
def database_server() -> Iterator[str]:
    """The URL of the server under test: the one DATABASE_URL names, else the embedded one, held for the session."""
    if os.environ.get("DATABASE_URL"):
        yield settings.DATABASE_URL
        return
    with embedded.running(settings.VAR_DIR, throwaway=True) as url:
        yield url


@pytest.fixture(scope="session")
def keeper(database_server):
    """A session beside the tests'; its locks tell other runs which databases are in use, and end with the process."""
    with psycopg.connect(named(database_server, "postgres"), autocommit=True) as connection:
        yield connection


@pytest.fixture(scope="session")
def template_database(keeper, django_db_blocker):
    """A migrated database to copy from, which takes no connections; kept for later runs with the same migrations.

    Another checkout's stays for a day, so that two that take turns do not migrate anew each time.
    """
    migrations = every_migration()
    name = f"migrated_record_{digest_of(keeper, migrations)}"
    making = [f"making {name}"]
    keeper.execute("SELECT pg_advisory_lock(hashtextextended(%s, 0))", making)
    mark_used(keeper, name)
    if not exists(keeper, name):
        with django_db_blocker.unblock():
            make_template(keeper, name, begun=template_begun(keeper, migrations))
    note_use(keeper, name, migrations)
    drop_unused(keeper, TEMPLATES, keep=name, idle="1 day")
    drop_unused(keeper, COPIES)
    keeper.execute("SELECT pg_advisory_unlock(hashtextextended(%s, 0))", making)
    return name


@pytest.fixture(scope="session")
def django_db_setup(keeper, template_database):
    """The suite's own copy, in place of a test database migrated anew; each test rolls back what it wrote."""
    with copy_of(keeper, template_database) as name, switched_to(name):
        yield


@pytest.fixture
def own_database(request, database_server, keeper, template_database, django_db_blocker):
    """A fresh copy for a test that commits, in threads or other processes; yields its URL."""
    if "db" in request.fixturenames or request.node.get_closest_marker("django_db"):
        pytest.fail("own_database commits for real: the test takes it in place of db, not beside it")
    with copy_of(keeper, template_database) as name, switched_to(name), django_db_blocker.unblock():
        yield named(database_server, name)


def named(url: str, database: str) -> str:
    return urlsplit(url)._replace(path=f"/{database}").geturl()


def every_migration() -> dict[str, str]:
    """The digest of each migration of any app."""
    files = {
        f"{app.label} {file.stem}": file
        for app in apps.get_app_configs()
        for file in Path(app.path).glob("migrations/*.py")
    }
    return {name: hashlib.sha256(file.read_bytes()).hexdigest()[:16] for name, file in files.items()}


def digest_of(keeper, migrations: dict[str, str]) -> str:
    """Changes with any migration, with the framework and with the server."""
    told = f"{django.get_version()} {keeper.info.server_version} {sorted(migrations.items())}"
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def template_begun(keeper, migrations: dict[str, str]) -> str | None:
    """The template that has most of these migrations and no other: what it lacks is migrated on a copy of it."""
    known = "SELECT datname, shobj_description(oid, 'pg_database') FROM pg_database WHERE datname ~ %s"
    noted = {name: json.loads(note) for name, note in keeper.execute(known, [FINISHED]).fetchall() if note}
    fitting = {
        name: len(note["migrations"])
        for name, note in noted.items()
        if note["migrations"].items() <= migrations.items() and note["django"] == django.get_version()
    }
    return max(fitting, key=fitting.__getitem__, default=None)


def make_template(keeper, name: str, *, begun: str | None) -> None:
    """Migrate under another name first: a run killed half-way leaves nothing that looks finished."""
    unfinished = f"{name}_unfinished"
    drop(keeper, unfinished)
    if begun is not None:
        mark_used(keeper, begun)
    keeper.execute(f"CREATE DATABASE {unfinished} TEMPLATE {begun or 'template0'} ENCODING 'UTF8'")
    with switched_to(unfinished):
        call_command("migrate", interactive=False, verbosity=0)
    keeper.execute(f"ALTER DATABASE {unfinished} RENAME TO {name}")
    keeper.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")


@contextmanager
def copy_of(keeper, template: str) -> Iterator[str]:
    name = f"test_record_{uuid4().hex[:16]}"
    mark_used(keeper, name)
    keeper.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    try:
        yield name
    finally:
        drop(keeper, name)
        keeper.execute("SELECT pg_advisory_unlock_shared(hashtextextended(%s, 0))", [name])


@contextmanager
def switched_to(name: str) -> Iterator[None]:
    """Every connection opened meanwhile, in any thread, goes to this database."""
    default = connections.settings[DEFAULT_DB_ALIAS]
    before = default["NAME"]
    connections.close_all()
    default["NAME"] = name
    try:
        yield
    finally:
        connections.close_all()
        default["NAME"] = before


def mark_used(keeper, name: str) -> None:
    keeper.execute("SELECT pg_advisory_lock_shared(hashtextextended(%s, 0))", [name])


def exists(keeper, name: str) -> bool:
    return keeper.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchone() is not None


def note_use(keeper, name: str, migrations: dict[str, str]) -> None:
    (moment,) = keeper.execute("SELECT now()::text").fetchone()
    note = json.dumps({"used": moment, "django": django.get_version(), "migrations": migrations})
    keeper.execute(sql.SQL("COMMENT ON DATABASE {} IS {}").format(sql.Identifier(name), sql.Literal(note)))


def drop_unused(keeper, pattern: str, *, keep: str = "", idle: str = "0 seconds") -> None:
    """Drop what earlier runs left and none used for so long; a name that a living run marked cannot be locked."""
    found = """
        SELECT datname FROM pg_database WHERE datname ~ %s AND datname <> %s
          AND COALESCE((shobj_description(oid, 'pg_database')::json ->> 'used')::timestamptz, '-infinity')
              <= now() - %s::interval"""
    for (name,) in keeper.execute(found, [pattern, keep, idle]).fetchall():
        lock = [name.removesuffix("_unfinished")]
        if keeper.execute("SELECT pg_try_advisory_lock(hashtextextended(%s, 0))", lock).fetchone() == (True,):
            drop(keeper, name)
            keeper.execute("SELECT pg_advisory_unlock(hashtextextended(%s, 0))", lock)


def drop(keeper, name: str) -> None:
    keeper.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name)))
