"""Whatever is changed, taken away, swapped, slipped in or cut off past the service is found, and the first is named.

    python -m tests.bench.tamper_study [--quick]

A record is made through the API (notes put, signed, returned, co-signed, progress computed) and sealed as it grows. The
attacker owns the tables: triggers are off, constraints are gone, every table can be written, the sealing's own too; the
key and the anchor are out of reach. 1,000 attacks (quick: 100) of five kinds are made one at a time on the untouched
record, half of them by somebody who also mends every hash that needs no key; after each, the check must find something
and name the place first. An untouched record must report nothing. The controls: cut tails that nothing but the anchor
gives away must pass unseen when the anchor's lines are not read, and forged events when their marks are not. Last, a
real worker seals what comes in: nothing may wait longer than the window of 10 s in which a row has no seal yet.
"""

import sys
from importlib import import_module

from tests.bench import ground


def main(argv: list[str] | None = None) -> int:
    asked = ground.options(__doc__ or "", argv)
    with ground.own_ground(LOG_LEVEL="CRITICAL"):
        # Models can be imported only once the ground is laid.
        measured = import_module("tests.bench.tamper_measured")
        return measured.run(quick=asked.quick)


if __name__ == "__main__":
    sys.exit(main())
