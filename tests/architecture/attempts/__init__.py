"""What each constraint is there to refuse: attempts by hand, one file an app."""

from tests.architecture.attempts import access, clinic, goals, scheduling, seals

ATTEMPTS = [*clinic.ATTEMPTS, *access.ATTEMPTS, *goals.ATTEMPTS, *scheduling.ATTEMPTS, *seals.ATTEMPTS]
TOUCHING = [*clinic.TOUCHING, *access.TOUCHING, *goals.TOUCHING, *scheduling.TOUCHING, *seals.TOUCHING]
COMPANY = {**clinic.COMPANY, **access.COMPANY, **goals.COMPANY, **scheduling.COMPANY, **seals.COMPANY}
