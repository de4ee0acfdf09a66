"""The main job: a signed note's progress is there within 2 s, and its writes cost at most 4 times one statement.

    python -m tests.bench.main_job [--quick] [--redis URL]

What is on each side of the writes: PUT of a note with five measurements and its signing, each one request over the
API by an access token. Both sides go through the same door (middleware, token, roles, reading the body, transaction,
stored answer, line of the trail). Behind it stands once the service (validation, reach, judging, freezing, flags, rows,
outbox), once a single statement by hand that asks for the same reach and writes the same rows. The PIN's Argon2 is
left out of both, as it is meant to be slow; its row is locked on both sides. How long the statement takes by itself,
with no door at all, is printed beside.
"""

import sys
from importlib import import_module

from tests.bench import ground


def main(argv: list[str] | None = None) -> int:
    asked = ground.options(__doc__ or "", argv, ("--redis", "broker to use in place of the filesystem's"))
    settings = {"REDIS_URL": asked.redis} if asked.redis else {}
    with ground.own_ground(**settings) as url:
        # Models can be imported only once the ground is laid.
        measured = import_module("tests.bench.main_job_measured")
        return measured.run(url, quick=asked.quick)


if __name__ == "__main__":
    sys.exit(main())
