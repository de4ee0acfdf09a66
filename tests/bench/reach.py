"""Nobody learns of a row out of her reach: not by an answer, not by a trace, not by the time that it takes.

    python -m tests.bench.reach [--quick]

Every door and method is asked as each of nine principals, without and with the rows out of reach: the same, byte for
byte, and no word of theirs in answers, logs, mails, outbox, feed, trail or notices. What is out of reach is answered by
the same statements as what does not exist, and in the same time: medians of 1,000 interleaved requests within 5 %.
Leaks that are planted are found. --quick asks every list and every eighth of the others, and times two doors.
"""

import sys
from importlib import import_module

from tests.bench import ground


def main(argv: list[str] | None = None) -> int:
    asked = ground.options(__doc__ or "", argv)
    with ground.own_ground():
        # Models can be imported only once the ground is laid.
        measured = import_module("tests.bench.reach_measured")
        return measured.run(quick=asked.quick)


if __name__ == "__main__":
    sys.exit(main())
