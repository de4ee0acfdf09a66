"""Django's settings, in fixed sections. Values from outside come from clinic.environment and nowhere else."""

import os
from datetime import timedelta
from typing import Any

import dj_database_url

from clinic import embedded
from clinic.environment import Environment

ENVIRONMENT = Environment()
ENVIRONMENT.refuse_unsafe()

# --- Core -----------------------------------------------------------------------------------------
SECRET_KEY = ENVIRONMENT.secret_key
PIN_KEY = ENVIRONMENT.pin_key
AUDIT_KEY = ENVIRONMENT.audit_key
AUDIT_KEYS_BEFORE = ENVIRONMENT.audit_keys_before
AUDIT_ANCHOR = ENVIRONMENT.audit_anchor
DEBUG = ENVIRONMENT.DEBUG
ALLOWED_HOSTS = ENVIRONMENT.ALLOWED_HOSTS
VAR_DIR = ENVIRONMENT.VAR_DIR
ROOT_URLCONF = "clinic.urls"
WSGI_APPLICATION = "clinic.wsgi.application"
APPEND_SLASH = False
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "pgtrigger",
    "rest_framework",
    "oauth2_provider",
    "axes",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "clinic",
    "goals",
    "scheduling",
]
MIDDLEWARE = [
    "clinic.middleware.RequestFrame",
    "clinic.api.account_trail.AccountTrail",
    "clinic.api.rate_limits.SignInLimit",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]

# --- Database -------------------------------------------------------------------------------------
DATABASE_URL = (
    ENVIRONMENT.DATABASE_URL.get_secret_value() if ENVIRONMENT.DATABASE_URL else embedded.database_url(VAR_DIR)
)
DATABASES = {"default": dj_database_url.parse(DATABASE_URL, conn_max_age=300, conn_health_checks=True)}
DATABASES["default"].setdefault("OPTIONS", {}).setdefault("connect_timeout", 5)
DATABASES["default"]["OPTIONS"]["options"] = (
    f"-c statement_timeout={ENVIRONMENT.STATEMENT_TIMEOUT_MS} -c lock_timeout=10000 "
    "-c idle_in_transaction_session_timeout=60000"
)
DATABASES["default"]["DISABLE_SERVER_SIDE_CURSORS"] = False

# --- Time and language ----------------------------------------------------------------------------
USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en"
USE_I18N = False

# --- Accounts -------------------------------------------------------------------------------------
AUTH_USER_MODEL = "clinic.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "clinic.services.passwords.ChosenWithCare"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "/login/"
LOGIN_REDIRECT_URL = "/api/v1/docs/"
LOGOUT_REDIRECT_URL = "/login/"
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_HTTP_RESPONSE_CODE = 429
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_CALLABLE = "clinic.api.session.locked_out"

# --- Sessions, cookies, transport -----------------------------------------------------------------
SESSION_ENGINE = "clinic.sessions"
SESSION_IDLE = timedelta(minutes=ENVIRONMENT.SESSION_IDLE_MINUTES)
SESSION_LONGEST = timedelta(hours=ENVIRONMENT.SESSION_HOURS)
SESSION_COOKIE_AGE = int(SESSION_LONGEST.total_seconds())
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_TRUSTED_ORIGINS = ENVIRONMENT.TRUSTED_ORIGINS
CSRF_FAILURE_VIEW = "clinic.api.problems.csrf_failure"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SECURE_SSL_REDIRECT = not ENVIRONMENT.plain_http
SECURE_REDIRECT_EXEMPT = [r"^livez/$", r"^readyz/$", r"^health/$"]
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not ENVIRONMENT.plain_http
if ENVIRONMENT.plain_http:
    # Loopback only: what TLS would add is asked of every other installation, and checked there.
    SILENCED_SYSTEM_CHECKS = ["security.W004", "security.W008", "security.W012", "security.W016"]
else:
    # The prefix makes a browser keep them to this host and to TLS (RFC 6265bis, section 4.1.3.2).
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-sessionid", "__Host-csrftoken"
    SECURE_HSTS_SECONDS = 365 * 86400
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
TRUSTED_PROXIES = ENVIRONMENT.TRUSTED_PROXIES
if TRUSTED_PROXIES:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
    }
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

# --- Static files ---------------------------------------------------------------------------------
STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
os.makedirs(STATIC_ROOT, exist_ok=True)
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False

# --- API ------------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "clinic.api.authentication.BearerToken",
        "clinic.api.authentication.BrowserSession",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["clinic.api.permissions.Allowed"],
    "DEFAULT_PARSER_CLASSES": ["clinic.api.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["clinic.api.renderers.ORJSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "clinic.api.schema.ServiceSchema",
    "EXCEPTION_HANDLER": "clinic.api.problems.handler",
    "DEFAULT_VERSIONING_CLASS": None,
    "URL_FORMAT_OVERRIDE": None,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "COERCE_DECIMAL_TO_STRING": True,
}
JSON_MAX_DEPTH = 40
JSON_MAX_VALUES = 50_000
# Of one person through one application; of one address while nobody is made out, and at the doors before the record.
REQUESTS_A_MINUTE = {"person": ENVIRONMENT.REQUESTS_A_MINUTE, "unknown": 300, "sign_in": 60, "token": 300}
PAGE_SIZE = 50
PAGE_SIZE_MOST = 200

# --- OAuth2 (RFC 6749, 7636, 9700) ----------------------------------------------------------------
OAUTH2_PROVIDER = {
    "SCOPES_BACKEND_CLASS": "clinic.oauth.ActionScopes",
    "OAUTH2_VALIDATOR_CLASS": "clinic.oauth.Validator",
    "DEFAULT_SCOPES": [],
    "PKCE_REQUIRED": True,
    "OAUTH2_RESPONSE_TYPES_SUPPORTED": ["code"],
    "OAUTH2_GRANT_TYPES_SUPPORTED": ["authorization_code", "client_credentials", "refresh_token"],
    "OAUTH2_TOKEN_ENDPOINT_AUTH_METHODS_SUPPORTED": ["client_secret_basic", "client_secret_post", "none"],
    "OAUTH2_PROTECTED_RESOURCE_NAME": "Paediatric therapy record",
    "ACCESS_TOKEN_EXPIRE_SECONDS": 900,
    "REFRESH_TOKEN_EXPIRE_SECONDS": timedelta(days=30),
    "ROTATE_REFRESH_TOKEN": True,
    "REFRESH_TOKEN_REUSE_PROTECTION": True,
    "REFRESH_TOKEN_GRACE_PERIOD_SECONDS": 0,
    "ALLOWED_REDIRECT_URI_SCHEMES": ["https"],
    "COMPLIANT_BCP_RFC9700_IMPLICIT_GRANT": True,
    "COMPLIANT_BCP_RFC9700_PASSWORD_GRANT": True,
    "COMPLIANT_BCP_RFC9700_PKCE_METHOD": True,
    "COMPLIANT_BCP_RFC9700_ACCESS_TOKEN_TRANSPORT": True,
    "COMPLIANT_BCP_RFC9700_AUTHZ_RESPONSE_ISS": True,
    "COMPLIANT_BCP_RFC9700_TOKEN_STORAGE": True,
    "COMPLIANT_BCP_RFC9700_REFRESH_TOKEN": True,
    "COMPLIANT_BCP_RFC9700_REDIRECT_URI_SCHEME": True,
    "COMPLIANT_BCP_RFC9700_REDIRECT_URI_MATCHING": True,
    "COMPLIANT_BCP_RFC9700_PKCE_REQUIRED": True,
}

# --- Background work ------------------------------------------------------------------------------
REDIS_URL = ENVIRONMENT.REDIS_URL.get_secret_value() if ENVIRONMENT.REDIS_URL else None
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_TIME_LIMIT = 300
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TIMEZONE = "UTC"
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_PUBLISH_RETRY = False
REDIS_TRANSPORT_OPTIONS: dict[str, Any] = {
    "visibility_timeout": 600,
    "unacked_restore_interval": 10,
    "unacked_restore_throttle": 1,
    "socket_connect_timeout": 2,
    "socket_timeout": 5,
    # A nudge tries once: whoever has just signed does not wait for a broker that is down.
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0,
    "interval_max": 0,
}
if REDIS_URL:
    CELERY_BROKER_URL = REDIS_URL
    CELERY_BROKER_TRANSPORT_OPTIONS = REDIS_TRANSPORT_OPTIONS
    CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}}
else:
    QUEUE_DIR = VAR_DIR / "queue"
    CELERY_BROKER_URL = "filesystem://"
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(QUEUE_DIR / "messages"),
        "data_folder_out": str(QUEUE_DIR / "messages"),
        "control_folder": str(QUEUE_DIR / "control"),
        "polling_interval": 0.1,
    }
    for folder in ("messages", "control"):
        os.makedirs(QUEUE_DIR / folder, mode=0o700, exist_ok=True)
    CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
CELERY_BEAT_SCHEDULE = {
    "seal what was added": {"task": "clinic.seal_rows", "schedule": 5.0, "options": {"expires": 30}},
    "sweep the outbox": {"task": "clinic.deliver_outbox", "schedule": 5.0, "options": {"expires": 30}},
    "recompute goals whose phase began": {
        "task": "goals.recompute_begun",
        "schedule": 900.0,
        "options": {"expires": 600},
    },
    "let co-signatures follow whoever owes them": {
        "task": "clinic.reassign_cosignatures",
        "schedule": 1800.0,
        "options": {"expires": 900},
    },
    "ask for the reasons of emergency accesses": {
        "task": "clinic.ask_for_emergency_reasons",
        "schedule": 3600.0,
        "options": {"expires": 1800},
    },
    "list what was signed after a PIN was reset": {
        "task": "clinic.list_signatures_since_reset",
        "schedule": 900.0,
        "options": {"expires": 600},
    },
    "follow all clocks": {"task": "scheduling.follow_all_clocks", "schedule": 21600.0, "options": {"expires": 3600}},
    "sweep what expired": {"task": "clinic.sweep_expired", "schedule": 600.0, "options": {"expires": 300}},
}
CELERY_BEAT_SCHEDULE_FILENAME = str(VAR_DIR / "beat-schedule")
# Which listeners hear which topic; nothing below knows who listens.
OUTBOX_LISTENERS = {
    "document.signed": [
        "goals.recompute_of_document",
        "scheduling.check_document",
        "scheduling.follow_clocks_of_document",
    ],
    "document.returned": ["goals.recompute_of_document", "scheduling.follow_clocks_of_document"],
    "document.cosigned": ["goals.recompute_of_document", "scheduling.follow_clocks_of_document"],
    "document.entered_in_error": ["goals.recompute_of_document", "scheduling.follow_clocks_of_document"],
    "goal.changed": ["goals.recompute_goal"],
    "episode.opened": ["scheduling.follow_clocks"],
    "episode.discharged": ["scheduling.follow_clocks"],
    "episode.cancelled": ["scheduling.follow_clocks"],
    "visit.changed": ["scheduling.follow_clocks_of_visit"],
    "plan.changed": ["scheduling.follow_clocks"],
    "school_calendar.changed": ["scheduling.follow_clocks_of_school"],
    "supervision.changed": ["clinic.reassign_cosignatures"],
    "succession.recorded": ["clinic.reassign_cosignatures"],
    "pin.changed": ["clinic.tell_pin_changed"],
    "pin_reset.started": ["clinic.send_pin_code"],
    "pin_reset.watched": ["clinic.mail_signatures_since_reset"],
    "staff.leaving": ["clinic.reassign_cosignatures"],
}
OUTBOX_ATTEMPTS = 12

# --- Mail -----------------------------------------------------------------------------------------
globals().update(ENVIRONMENT.mail)
DEFAULT_FROM_EMAIL = SERVER_EMAIL = ENVIRONMENT.EMAIL_FROM

from clinic.api_description import SPECTACULAR_SETTINGS  # noqa: E402, F401
from clinic.logs import LOGGING  # noqa: E402, F401
