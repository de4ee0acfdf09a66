"""What the OpenAPI document says of the service as a whole."""

from enum import StrEnum
from importlib import import_module

WORDS_OF = ("clinic.enums", "clinic.rules.ages", "goals.enums", "scheduling.enums")


def word_lists() -> dict[str, list[str]]:
    """Each list of words of every floor is one named component, wherever it is used."""
    found: dict[str, list[str]] = {}
    for place in WORDS_OF:
        module = import_module(place)
        for name, words in vars(module).items():
            if isinstance(words, type) and issubclass(words, StrEnum) and words.__module__ == module.__name__:
                found[name] = [word.value for word in words]
    return found


DESCRIPTION = """\
The record of a paediatric occupational therapy team: clients, episodes of care, plans, goals, visits, notes and
their signatures; each visit's counts become goal progress by published methods, in the background.

**Caution.** This is a record-keeping aid. It informs a therapist's judgement and never decides, diagnoses or
changes a goal. Practice acts, payers' rules, local codes and the supervising therapist come first; rule packs are
examples to be verified locally.

**Conventions.** JSON in snake_case; times are RFC 3339 with an offset; decimals are strings. Ids are UUIDs that a
client may make itself (version 7 recommended). `PUT` creates under such an id, and repeated with the same content
it answers the same. Changes need `If-Match` with the ETag last seen (428 without, 412 when stale). `POST` takes an
`Idempotency-Key`; signing, co-signing and booking require one. Errors are `application/problem+json` (RFC 9457)
with a stable `code`. Lists are cursor pages; unknown parameters and members are refused with 400.
A row out of reach answers 404, exactly as if it did not exist.
"""

SPECTACULAR_SETTINGS = {
    "TITLE": "Paediatric therapy record",
    "DESCRIPTION": DESCRIPTION,
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.1",
    "CONTACT": {"name": "The maintainers"},
    "LICENSE": {"name": "MIT", "identifier": "MIT"},
    "SERVERS": [{"url": "/"}],
    "COMPONENT_SPLIT_REQUEST": True,
    "COMPONENT_NO_READ_ONLY_REQUIRED": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_AUTHENTICATION": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    # The page asks no other host to judge the document.
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "validatorUrl": None},
    "ENUM_SUFFIX": "",
    "ENUM_NAME_OVERRIDES": word_lists(),
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "clinic.api.schema.postprocess_param_enums",
        "clinic.api.schema.postprocess_required",
    ],
    "OAUTH2_FLOWS": ["authorizationCode", "clientCredentials"],
    "OAUTH2_AUTHORIZATION_URL": "/oauth/authorize/",
    "OAUTH2_TOKEN_URL": "/oauth/token/",
    "OAUTH2_REFRESH_URL": "/oauth/token/",
    "DISABLE_ERRORS_AND_WARNINGS": False,
    "APPEND_COMPONENTS": {},
    "SORT_OPERATIONS": True,
}
