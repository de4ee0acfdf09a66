"""What the OpenAPI document says of the service as a whole."""

from clinic import enums

# Each list of words is one named component, wherever it is used.
WORD_LISTS = (
    enums.CareRole,
    enums.CareSource,
    enums.Discipline,
    enums.EpisodeStatus,
    enums.RecordRegime,
    enums.Setting,
)

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
    "ENUM_NAME_OVERRIDES": {
        "Achievement": "goals.enums.Achievement",
        "AssistanceLevel": "goals.enums.AssistanceLevel",
        "AuthorityKind": "clinic.enums.AuthorityKind",
        "Bound": "goals.enums.Bound",
        "CancelCause": "scheduling.enums.CancelCause",
        "CareRole": "clinic.enums.CareRole",
        "CareSource": "clinic.enums.CareSource",
        "Censored": "goals.enums.Censored",
        "Comparison": "goals.enums.Comparison",
        "ConsentKind": "clinic.enums.ConsentKind",
        "ConsistencyKind": "goals.enums.ConsistencyKind",
        "ContactMedium": "clinic.enums.ContactMedium",
        "CredentialKind": "clinic.enums.CredentialKind",
        "CriterionState": "goals.enums.CriterionState",
        "Direction": "goals.enums.Direction",
        "Discipline": "clinic.enums.Discipline",
        "DocumentKind": "clinic.enums.DocumentKind",
        "DocumentState": "clinic.enums.DocumentState",
        "EpisodeStatus": "clinic.enums.EpisodeStatus",
        "FlagSeverity": "clinic.enums.FlagSeverity",
        "IntervalMethod": "goals.enums.IntervalMethod",
        "Lifecycle": "goals.enums.Lifecycle",
        "MeasureKind": "goals.enums.MeasureKind",
        "MeasurementSource": "goals.enums.MeasurementSource",
        "MissingCode": "goals.enums.MissingCode",
        "NotMeasuredReason": "goals.enums.NotMeasuredReason",
        "PhaseKind": "goals.enums.PhaseKind",
        "PrecautionKind": "clinic.enums.PrecautionKind",
        "PrecautionSource": "clinic.enums.PrecautionSource",
        "PromptKind": "goals.enums.PromptKind",
        "Purpose": "goals.enums.Purpose",
        "RecordRegime": "clinic.enums.RecordRegime",
        "Relationship": "clinic.enums.Relationship",
        "Role": "clinic.enums.Role",
        "ScopeKind": "clinic.enums.ScopeKind",
        "Setting": "clinic.enums.Setting",
        "Side": "goals.enums.Side",
        "SideRule": "goals.enums.SideRule",
        "SignatureMeaning": "clinic.enums.SignatureMeaning",
        "Strata": "goals.enums.Strata",
        "SupervisionKind": "clinic.enums.SupervisionKind",
        "VerdictOutcome": "clinic.enums.VerdictOutcome",
        "VisitKind": "scheduling.enums.VisitKind",
        "VisitMode": "scheduling.enums.VisitMode",
        "VisitStatus": "scheduling.enums.VisitStatus",
        "VisitValue": "goals.enums.VisitValue",
    },
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
