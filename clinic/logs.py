"""Logs as one JSON object a line, with a fixed list of fields: no names, no query strings, no content."""

from typing import Any

import structlog

from clinic.environment import Environment

FIELDS = {
    "event",
    "level",
    "timestamp",
    "logger",
    "request_id",
    "method",
    "route",
    "status",
    "ms",
    "code",
    "task",
    "topic",
}


def only_known_fields(_: Any, __: str, event: dict[str, Any]) -> dict[str, Any]:
    """Drop whatever is not on the list, so that nothing of a child's record can slip into a log."""
    return {
        key: value
        for key, value in event.items()
        if key in FIELDS or key in ("exception", "_record", "_from_structlog")
    }


SHARED = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
]

structlog.configure(
    processors=[*SHARED, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {
            "()": structlog.stdlib.ProcessorFormatter,
            "foreign_pre_chain": SHARED,
            "processors": [
                only_known_fields,
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.format_exc_info,
                structlog.processors.JSONRenderer(),
            ],
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["stderr"], "level": Environment().LOG_LEVEL},
    "loggers": {
        "django.request": {"level": "ERROR"},
        "django.security": {"level": "ERROR"},
        "axes": {"level": "WARNING"},
        "oauthlib": {"level": "ERROR"},
        "oauth2_provider": {"level": "ERROR"},
    },
}
