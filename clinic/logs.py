"""Logs as one JSON object a line, with a fixed list of fields: no names, no query strings, no content."""

import traceback
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
    "seal",
    "count",
    "root",
    "head",
}
FRAMES = 8


def only_known_fields(_: Any, __: str, event: dict[str, Any]) -> dict[str, Any]:
    """Drop whatever is not on the list, so that nothing of a child's record can slip into a log."""
    return {
        key: value for key, value in event.items() if key in FIELDS or key in ("where", "_record", "_from_structlog")
    }


def name_of_task(_: Any, __: str, event: dict[str, Any]) -> dict[str, Any]:
    """The background worker's own lines say which task they are about beside the message."""
    data = getattr(event["_record"], "data", None)
    if isinstance(data, dict) and "name" in data:
        event["task"] = str(data["name"])
    return event


def where_it_failed(_: Any, __: str, event: dict[str, Any]) -> dict[str, Any]:
    """Name the class and the places of an exception; its message may quote the record and stays out."""
    error = event.pop("exc_info", None)
    error = error[1] if isinstance(error, tuple) else error
    if isinstance(error, BaseException):
        frames = traceback.extract_tb(error.__traceback__)[-FRAMES:]
        event["where"] = [type(error).__name__, *(f"{f.filename}:{f.lineno} {f.name}" for f in frames)]
    return event


SHARED: list[Any] = [
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
            # What a library would fill into its message may quote the record or a login.
            "use_get_message": False,
            "foreign_pre_chain": [*SHARED, name_of_task],
            "processors": [
                where_it_failed,
                only_known_fields,
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(),
            ],
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["stderr"], "level": Environment().LOG_LEVEL},
    "loggers": {
        # The second anchor: told however quiet the worker is asked to be.
        "seal": {"level": "INFO"},
        "django.request": {"level": "ERROR"},
        "django.security": {"level": "ERROR"},
        "django.server": {"handlers": [], "level": "ERROR", "propagate": True},
        "axes": {"level": "WARNING"},
        "kombu": {"level": "ERROR"},
        "oauthlib": {"level": "ERROR"},
        "oauth2_provider": {"level": "ERROR"},
    },
}
