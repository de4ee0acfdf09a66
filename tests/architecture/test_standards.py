"""The tables of docs/standards.md name tests that there are, and leave out no paragraph."""

import ast
import re

import pytest

from clinic.environment import TOP
from tests.architecture.test_floors import SOURCES

TEXT = (TOP / "docs" / "standards.md").read_text()
NAMED = sorted(set(re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", TEXT)))
FETCHING = {"requests", "httpx", "aiohttp", "urllib3", "urllib.request", "http.client", "ftplib", "socket"}
TALKS_TO_ITS_OWN = {"clinic/embedded.py", "clinic/processes.py"}  # the servers that it started on this machine
LINES = {
    "21 CFR": ["11.50(a)(1)", "11.50(a)(2)", "11.50(a)(3)", "11.70", "11.200(a)(1)", "11.200(a)(2)", "11.200(a)(3)"],
    "45 CFR": ["(a)(1)", "(a)(2)(i) R", "(a)(2)(ii) R", "(a)(2)(iii) A", "(a)(2)(iv) A", "(b) R", "(c)(1) R"]
    + ["(c)(2) A", "(d) R", "(e)(1)", "(e)(2)(ii) A"],
    "OWASP": [f"API{number} " for number in range(1, 11)],
}


@pytest.mark.parametrize(("file", "test"), NAMED, ids=lambda value: value)
def test_the_named_test_is_there(file, test):
    """A table that names a test which is gone says that something is held which nobody looks at."""
    path = TOP / file
    assert path.exists(), file
    defined = {node.name for node in ast.parse(path.read_text()).body if isinstance(node, ast.FunctionDef)}
    assert test in defined


@pytest.mark.parametrize(("chapter", "line"), [(name, line) for name, lines in LINES.items() for line in lines])
def test_no_paragraph_is_left_out(chapter, line):
    """Each has its row, and each row names a test."""
    part = next(part for part in TEXT.split("\n## ") if part.startswith(chapter))
    row = next((row for row in part.splitlines() if row.startswith(f"| {line}")), None)
    assert row, f"{chapter} {line} has no row"
    assert "::test_" in row


def imported(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def test_nothing_that_is_shipped_fetches_an_address():
    """OWASP API7: what opens no connection to a given address cannot be made to open one to the wrong one."""
    found = {str(path.relative_to(TOP)): FETCHING & set(imported(path)) for path in SOURCES}
    fetches = {name: modules for name, modules in found.items() if modules and name not in TALKS_TO_ITS_OWN}
    assert {name for name in fetches if not name.startswith("scheduling/demonstration/")} == set()
