"""Which database a process stands on, decided once before the framework starts."""

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from clinic import embedded
from clinic.environment import Environment

# These say something about the code alone and need no server.
WITHOUT_DATABASE = {"help", "version", "--help", "--version", "collectstatic", "makemessages", "startapp"}


@contextmanager
def database_for(argv: list[str]) -> Iterator[None]:
    """Hold the embedded server while the command runs, unless the environment names a database."""
    environment = Environment()
    command = argv[1] if len(argv) > 1 else "help"
    if not environment.embedded or command in WITHOUT_DATABASE:
        yield
        return
    signal.signal(signal.SIGTERM, end_in_order)
    with embedded.running(environment.VAR_DIR):
        yield


def end_in_order(number: int, frame: FrameType | None) -> None:
    """Asked to end, a process leaves by the way it came: what it started ends with it."""
    sys.exit(128 + number)
