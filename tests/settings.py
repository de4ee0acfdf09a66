"""The service's own settings, on a database and keys of the tests, alike in both modes of the database."""

import os
from pathlib import Path

os.environ.setdefault("VAR_DIR", str(Path(__file__).resolve().parent.parent / "var" / "tests"))
# A named database makes the service ask for a team's secrets; these are for tests alone.
os.environ.setdefault("SECRET_KEY", "only-for-tests-" * 5)
os.environ.setdefault("PIN_KEY", "only-for-pins-in-tests-" * 5)
os.environ.setdefault("AUDIT_KEY", "only-for-seals-in-tests-" * 5)
os.environ.setdefault("LOG_LEVEL", "ERROR")

from clinic.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
SECURE_SSL_REDIRECT = False
SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "sessionid", "csrftoken"
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
# Tests and benches ask faster than people; those of the limits set their own.
REQUESTS_A_MINUTE = dict.fromkeys(("person", "unknown", "sign_in", "token"), 1_000_000)
