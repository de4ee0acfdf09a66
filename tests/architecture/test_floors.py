"""The floors hold, and so do the shape of the tree and the few things that code here never does."""

import ast
import io
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command

TOP = Path(__file__).resolve().parents[2]
APPS = ("clinic", "goals", "scheduling")
SOURCES = sorted(path for app in APPS for path in (TOP / app).rglob("*.py"))
BROKEN = {
    "Apps look down only": ("clinic/errors.py", "from goals import enums as upward"),
    "Inside an app: doors, writes, reads, tables, rules": (
        "clinic/models/base.py",
        "from clinic.services import changes as upward",
    ),
    "Rules know nothing of the framework": ("clinic/rules/text.py", "import django"),
}
# The top level as the design fixes it: what every clone has, and what else may lie beside it.
FIXED = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "pyproject.toml",
    "clinic",
    "goals",
    "scheduling",
    "docker-compose.yml",
    "tests",
}
BESIDE = {".ci", ".gitignore", "requirements.lock", "requirements-dev.lock", "openapi.json", "docs", "LICENSE"}
# Imports inside a function that have a reason: what must not be loaded before a choice is made.
INSIDE_ALLOWED = {
    "manage.py:main",  # says what to do where the framework is missing
    "clinic/api/schema.py:_is_list",  # the doors' own schema class: they name it, it asks what they are
    "clinic/rules/diagnosis_release.py:codes_of_release",  # seconds and memory that only a release's import needs
}


def lint(tree: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command; lint_imports_command()",
            "--no-cache",
        ],
        cwd=tree,
        capture_output=True,
        text=True,
        env={"PATH": "/usr/bin:/bin", "PYTHONPATH": str(tree)},
    )


def test_the_import_contracts_hold():
    """Imports go down, between the apps and inside each, and the rules import no framework."""
    done = lint(TOP)
    assert done.returncode == 0, done.stdout
    assert re.search(r"Contracts: 3 kept, 0 broken", done.stdout)


@pytest.mark.parametrize("contract", BROKEN)
def test_a_planted_upward_import_breaks_its_contract(contract, tmp_path):
    """The control: each contract finds the import that it is there to find."""
    for app in APPS:
        shutil.copytree(TOP / app, tmp_path / app, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(TOP / "pyproject.toml", tmp_path)
    file, line = BROKEN[contract]
    source = tmp_path / file
    source.write_text(source.read_text() + f"\n{line}\n")
    done = lint(tmp_path)
    assert done.returncode == 1
    assert re.search(rf"^{re.escape(contract)} BROKEN$", done.stdout, re.M), done.stdout


@pytest.mark.django_db
def test_no_migration_is_missing():
    """The models and the migrations say the same."""
    told = io.StringIO()
    call_command("makemigrations", check=True, dry_run=True, stdout=told)
    assert told.getvalue().strip() == "No changes detected"


def test_no_lock_file_holds_an_address():
    """The locks name packages and hashes and leave it to each machine where to fetch them."""
    locks = [path for path in tracked() if path.name.endswith((".lock", "-lock.json", "-lock.yaml"))]
    assert {path.name for path in locks} >= {"requirements.lock", "requirements-dev.lock"}
    assert [path.name for path in locks if "://" in path.read_text()] == []


def test_the_locks_pin_every_package_with_a_hash():
    """Each requirement stands at one version and is followed by at least one hash."""
    for name in ("requirements.lock", "requirements-dev.lock"):
        joined = (TOP / name).read_text().replace("\\\n", " ")
        lines = [line for line in joined.splitlines() if line.strip() and not line.lstrip().startswith("#")]
        assert [line[:60] for line in lines if "==" not in line or "--hash=sha256:" not in line] == []


def test_nothing_listens_by_signal():
    """A caller calls: no signals in the apps."""
    assert found(r"django\.dispatch|django\.db\.models\.signals|@receiver\b") == []


def test_nothing_queues_a_task_beside_the_outbox():
    """Work in the background begins with a row, never with .delay() from a request."""
    assert found(r"\.delay\(") == []


def found(pattern: str) -> list[str]:
    return [str(path.relative_to(TOP)) for path in SOURCES if re.search(pattern, path.read_text())]


def imports_inside(path: Path) -> Iterator[str]:
    functions = (n for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.FunctionDef))
    for function in functions:
        if any(isinstance(inner, ast.Import | ast.ImportFrom) for inner in ast.walk(function)):
            yield f"{path.relative_to(TOP)}:{function.name}"


def test_imports_stand_at_the_top():
    """A cycle is mended by moving a function, not by importing inside one."""
    assert {where for path in [TOP / "manage.py", *SOURCES] for where in imports_inside(path)} == INSIDE_ALLOWED


def tracked() -> list[Path]:
    if not (TOP / ".git").exists():
        pytest.skip("not a clone: the tree cannot be told from what lies beside it")
    asked = ["git", "-c", f"safe.directory={TOP}", "ls-files", "-z"]
    listed = subprocess.run(asked, cwd=TOP, capture_output=True, text=True, check=True)
    return [TOP / name for name in listed.stdout.split("\0") if name]


def test_the_top_level_is_the_design():
    """Nine names that are always there, and only what tools demand beside them."""
    top = {path.relative_to(TOP).parts[0] for path in tracked() if path.exists()}
    assert FIXED - top == set()
    assert top - FIXED - BESIDE == set()


def test_each_app_has_the_same_rooms():
    """A line of code is where the reader looks for it."""
    for app in APPS:
        rooms = {"models", "rules", "services", "selectors", "api"}
        assert rooms - {path.name for path in (TOP / app).iterdir()} == set()
