"""A team's settings without its TLS proxy, for processes that tests start on this machine's loopback."""

from clinic.settings import *  # noqa: F403

SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = False
SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "sessionid", "csrftoken"
