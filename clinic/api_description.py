"""What the OpenAPI document says of the service as a whole."""

from enum import StrEnum
from importlib import import_module

from clinic.api_codes import table

WORDS_OF = ("clinic.enums", "clinic.rules.ages", "goals.enums", "scheduling.enums")


def enums() -> dict[str, type[StrEnum]]:
    """Each list of words of every floor, by its name."""
    found: dict[str, type[StrEnum]] = {}
    for place in WORDS_OF:
        module = import_module(place)
        for name, words in vars(module).items():
            if isinstance(words, type) and issubclass(words, StrEnum) and words.__module__ == module.__name__:
                found[name] = words
    return found


def word_lists() -> dict[str, list[str]]:
    """Each list of words is one named component, wherever it is used."""
    return {name: [word.value for word in words] for name, words in enums().items()}


DESCRIPTION = f"""\
The record of a paediatric occupational therapy team: clients, episodes of care, plans, goals, visits, notes and
their signatures; each visit's counts become goal progress by published methods, in the background.

**Caution.** This is a record-keeping aid. It informs a therapist's judgement and never decides, diagnoses or
changes a goal. Practice acts, payers' rules, local codes and the supervising therapist come first; rule packs are
examples to be verified locally.

**Conventions.** JSON in snake_case; times are RFC 3339 with an offset; decimals are strings. Ids are UUIDs that a
client may make itself (version 7 recommended). `PUT` creates under such an id, and repeated with the same content
it answers the same. Changes need `If-Match` with the ETag last seen (428 without, 412 when stale). `POST` takes an
`Idempotency-Key`; signing, co-signing and returning require one. Errors are `application/problem+json` (RFC 9457)
with a stable `code`. Lists are cursor pages; unknown parameters and members are refused with 400.
A row out of reach answers 404, exactly as if it did not exist.

**A visit's way.** Book it (`PUT /visits/{{id}}/`), check the child in, finish her part, or sign its note, which says
that it took place. Put the note (`PUT /notes/{{id}}/`) with one measurement for each goal: its forms by kind stand at
`MeasurementRequest`, an example of each at the note's body, beside an example of each kind of goal at the goal's. Sign
it with the ETag seen, a key and the PIN; progress follows in the background, within seconds. A supervisor co-signs or
returns the version whose digest she fetched. Numbers of a final note are corrected by an addendum that `replaces` them.

**Sending again.** Nothing is lost by sending twice: a `PUT` that created, without `If-Match`, answers 200; a `POST`
with its `Idempotency-Key` answers as it did. A change that was made, whose answer was lost, answers 412 to its old
ETag, unless it carried an `Idempotency-Key`. What meets a conflict (409, 412, 428) is shown both versions: `current`,
as it is now under `current_etag`, and what a `PUT` or `PATCH` has `sent`.

**Without a connection.** A tablet queues what it would have sent and posts it to `/batch/`, up to 200 operations, each
with a key of its own. Each is done or refused by itself, as if it had come alone, and answered: `applied`,
`already_applied`, `conflict`, `refused`, or `try_again`. Signing is never queued: it needs the server and the PIN.

**Following changes.** `/changes/` says where the feed stands now; with `since` it tells the ids of what was made or
changed since, as far as it is in reach now, and whose records are in reach at all. Begin there, then fetch the lists.
It misses nothing, however many write at once, and may tell a change twice.

**Whose clock.** When something was observed is told by the device, when it was signed by the server. A device that
sends its own time as `Device-Time` has the times that it tells put right by as much as it is off, if that is more
than five minutes; the part of the visit then shows `device_offset_seconds`, the signed note a flag. Nothing is refused
for it.

**Codes of problems.** A problem's `code` is stable, its `detail` says in words what is wrong, `errors` where.

{table()}
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
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": word_lists(),
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "clinic.api.schema.postprocess_param_enums",
        "clinic.api.schema.postprocess_word_lists",
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
