"""What each constraint is there to refuse: attempts by hand, one file an app."""

from tests.architecture.attempts import clinic, goals, scheduling

ATTEMPTS = [*clinic.ATTEMPTS, *goals.ATTEMPTS, *scheduling.ATTEMPTS]
TOUCHING = [*clinic.TOUCHING, *goals.TOUCHING, *scheduling.TOUCHING]
COMPANY = {**clinic.COMPANY, **goals.COMPANY, **scheduling.COMPANY}
