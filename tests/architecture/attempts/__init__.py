"""What each constraint is there to refuse: attempts by hand, one file an app."""

from tests.architecture.attempts import access, clinic, clocks, goals, scheduling, seals

APPS = (clinic, access, goals, scheduling, seals)
ATTEMPTS = [attempt for app in (*APPS, clocks) for attempt in app.ATTEMPTS]
TOUCHING = [touching for app in (*APPS, clocks) for touching in app.TOUCHING]
COMPANY = {**clinic.COMPANY, **access.COMPANY, **goals.COMPANY, **scheduling.COMPANY, **seals.COMPANY}
