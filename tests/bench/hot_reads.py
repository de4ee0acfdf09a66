"""The reads that people wait for, each at most 3 times what hand-written SQL over the same tables takes.

    python -m tests.bench.hot_reads [--quick]

The service answers GET of the day, of a caseload page and of a page of the co-sign queue, a therapist's who answers for
two assistants; by hand the same token (or session), the roles of today, the same reach, rows and line in the trail,
psycopg and orjson. The two answers are held against each other before the clock starts.
"""

import sys
from importlib import import_module

from tests.bench import ground


def main(argv: list[str] | None = None) -> int:
    asked = ground.options(__doc__ or "", argv)
    with ground.own_ground() as url:
        # Models can be imported only once the ground is laid.
        measured = import_module("tests.bench.hot_reads_measured")
        return measured.run(url, quick=asked.quick)


if __name__ == "__main__":
    sys.exit(main())
