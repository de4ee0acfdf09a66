"""What was acknowledged is in the record, exactly once, whatever is cut and killed meanwhile.

    python -m tests.bench.record_load [--quick] [--redis URL]

For 120 s (quick: 25 s) assistants put and sign notes, supervisors co-sign and return them, sometimes both at once, over
HTTP with connections cut at random; each repeats a write under the same key until it is answered, and keeps a ledger of
what was acknowledged. Meanwhile web workers, masters and background workers are killed 20 times (quick: 5) and the
service's own PostgreSQL is stopped immediately twice. Then a checker in raw SQL compares record and ledgers: every
acknowledged write is there once, no version has two verdicts, nothing stands that nobody sent, no background work is
left. Last, faults are made in the record by hand: the checker must name each of them.
"""

import os
import sys
from importlib import import_module
from pathlib import Path

from tests.bench import ground


def main(argv: list[str] | None = None) -> int:
    asked = ground.options(__doc__ or "", argv, ("--redis", "broker to use in place of the filesystem's"))
    os.environ.pop("DATABASE_URL", None)  # its server is stopped with no warning: it must be our own
    settings = {"REDIS_URL": asked.redis} if asked.redis else {}
    with ground.own_ground(LOG_LEVEL="ERROR", **settings):
        # Models can be imported only once the ground is laid.
        measured = import_module("tests.bench.record_load_measured")
        return measured.run(Path(os.environ["VAR_DIR"]), quick=asked.quick)


if __name__ == "__main__":
    sys.exit(main())
