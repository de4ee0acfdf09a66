#!/usr/bin/env python3
"""The project's command line: starts the embedded servers where no others are named, then runs the command."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            "Django is not installed in this Python. Make a virtual environment and install the locked packages:\n"
            "  python3 -m venv .venv && .venv/bin/pip install --require-hashes -r requirements.lock\n"
            "(on Debian and Ubuntu, 'apt install python3-venv' first if venv is missing)"
        )
    from clinic.ground import database_for

    with database_for(sys.argv):
        execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
