"""Settings, read from the environment; each name is listed in the project's README."""

from __future__ import annotations

import ipaddress
import os
from pathlib import Path
from urllib.parse import unquote, urlsplit

import dj_database_url
from csp.constants import NONCE, SELF
from django.core.exceptions import ImproperlyConfigured

from labmatrix import __version__

BASE_DIR = Path(__file__).resolve().parent.parent


def _env(name: str, default: str) -> str:
    return os.environ.get(f"STRONGFLOOR_{name}", "") or default


HOME = Path(_env("HOME", str(BASE_DIR / "var"))).resolve()
HOME.mkdir(parents=True, exist_ok=True)

# Known to everyone, so good on loopback only: the start-up check refuses it elsewhere.
DEMO_SECRET_KEY = "quayside-demo-key-which-everyone-knows-and-nobody-may-serve-with"  # noqa: S105
SECRET_KEY = _env("SECRET_KEY", DEMO_SECRET_KEY)
BIND = _env("BIND", "127.0.0.1")
PORT = int(os.environ.get("PORT", "") or "8000")
PUBLIC_URL = _env("PUBLIC_URL", f"http://127.0.0.1:{PORT}")
_public = urlsplit(PUBLIC_URL)
HTTPS = _public.scheme == "https"

try:
    # Whose X-Forwarded-For is believed, such as 127.0.0.1 or 10.1.0.0/24; nobody's unless named.
    TRUSTED_PROXIES = [
        ipaddress.ip_network(part.strip())
        for part in _env("TRUSTED_PROXIES", "").split(",")
        if part.strip()
    ]
except ValueError as _error:
    raise ImproperlyConfigured(
        f"STRONGFLOOR_TRUSTED_PROXIES: {_error}; allowed are addresses or networks with commas "
        "between them."
    ) from _error

DEBUG = False
ALLOWED_HOSTS = sorted({"127.0.0.1", "localhost", "[::1]", _public.hostname or "localhost"})
CSRF_TRUSTED_ORIGINS = [f"{_public.scheme}://{_public.netloc}"]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^health/$", r"^ready/$"]
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
# Whether a name goes into the browsers' own list is for its owner to say, not for this file.
SILENCED_SYSTEM_CHECKS = ["security.W021"]
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "csp",
    "axes",
    "labmatrix.web",
    "labmatrix.evidence",
    "labmatrix.matrix",
    "specimens",
    "conditioning",
    "results",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "labmatrix.web.middleware.ZoneMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "labmatrix.web.middleware.UserErrorMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "labmatrix.urls"
WSGI_APPLICATION = "labmatrix.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "labmatrix.web.context.laboratory",
            ],
            "builtins": ["labmatrix.web.templatetags.notebook"],
        },
    }
]

DATABASES = {
    "default": dj_database_url.parse(
        _env("DATABASE_URL", f"sqlite:///{HOME / 'strongfloor.sqlite3'}"),
        conn_max_age=60,
        conn_health_checks=True,
    )
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # Immediate: the loser of a race meets the business rule, not "database is locked".
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 30,
        "init_command": (
            "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;PRAGMA foreign_keys=ON;"
        ),
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

STORAGE_URL = _env("STORAGE_URL", f"file://{HOME / 'blobs'}")
_storage = urlsplit(STORAGE_URL)
if _storage.scheme != "file" or not _storage.path.startswith("/"):
    raise ImproperlyConfigured(
        f"STRONGFLOOR_STORAGE_URL is {STORAGE_URL!r}; allowed is file:///an/absolute/folder."
    )
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "blobs": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": unquote(_storage.path), "file_permissions_mode": 0o444},
    },
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
STATIC_URL = "/static/"
STATIC_ROOT = HOME / "static"
STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = True
WHITENOISE_MAX_AGE = 3600
DATA_UPLOAD_MAX_MEMORY_SIZE = 32 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 6000  # the map of a logger with hundreds of columns
RECORD_MAX_BYTES = int(_env("RECORD_MAX_BYTES", str(4 * 1024**3)))
# From this size on a record is long work, which never blocks an upload.
LONG_RECORD_BYTES = int(_env("LONG_RECORD_BYTES", str(32 * 1024**2)))
# Long work is taken up again where it stood; so often it keeps where that is.
PROGRESS_DIR = HOME / "progress"
CHECKPOINT_SECONDS = float(_env("CHECKPOINT_SECONDS", "5"))
FILE_UPLOAD_TEMP_DIR = HOME / "incoming"
FILE_UPLOAD_TEMP_DIR.mkdir(exist_ok=True)

AUTH_USER_MODEL = "web.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "web:person-sign-in"
LOGIN_REDIRECT_URL = "/"
SESSION_COOKIE_AGE = 14 * 24 * 3600
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
# By name and place together: behind one address of a laboratory nobody locks another's name, and
# a right password from elsewhere is not affected.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_CLIENT_IP_CALLABLE = "labmatrix.web.place.request_place"
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False
AXES_LOCKOUT_CALLABLE = "labmatrix.web.lockout.locked_out"
API_TOKEN_DAYS = 30

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"
DISPLAY_TIME_ZONE = _env("TIME_ZONE", "UTC")

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF, NONCE],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": [SELF],
        "frame-ancestors": ["'none'"],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "labmatrix.web.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "labmatrix.web.paging.Pages",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "labmatrix.web.errors.api_exception_handler",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Strongfloor",
    "DESCRIPTION": "From a test matrix to a traceable comparison.",
    "VERSION": __version__,
    "SERVE_INCLUDE_SCHEMA": False,
}

BROKER_URL = _env("BROKER_URL", "filesystem://localhost")
CELERY_BROKER_URL = BROKER_URL
if BROKER_URL.startswith("filesystem:"):
    _folder = HOME / "broker"
    for _part in ("queue", "processed", "control"):
        (_folder / _part).mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(_folder / "queue"),
        "data_folder_out": str(_folder / "queue"),
        "processed_folder": str(_folder / "processed"),
        "control_folder": str(_folder / "control"),
        "store_processed": False,
        "polling_interval": 0.1,
    }
else:
    # The visibility time-out must outlast the longest job; the job row makes a second
    # delivery harmless all the same.
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "visibility_timeout": int(_env("VISIBILITY_SECONDS", "21600")),
        "unacked_restore_interval": 10,
        "unacked_restore_throttle": 1,
        "global_keyprefix": _env("BROKER_PREFIX", ""),
    }
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_DEFAULT_QUEUE = "short"
CELERY_TASK_CREATE_MISSING_QUEUES = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
CELERY_TIMEZONE = "UTC"

JOB_LEASE_SECONDS = float(_env("JOB_LEASE_SECONDS", "60"))
JOB_RESEND_SECONDS = float(_env("JOB_RESEND_SECONDS", "15"))
JOB_SWEEP_SECONDS = float(_env("JOB_SWEEP_SECONDS", "5"))

_mail = urlsplit(_env("MAIL_URL", "console://"))
EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
# Whether a letter reaches anyone; without it the pages show the link that one hands over.
MAIL_GOES_OUT = _mail.scheme in ("smtp", "smtps")
if MAIL_GOES_OUT:
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_HOST = _mail.hostname or "localhost"
    EMAIL_PORT = _mail.port or (465 if _mail.scheme == "smtps" else 587)
    EMAIL_HOST_USER = unquote(_mail.username or "")
    EMAIL_HOST_PASSWORD = unquote(_mail.password or "")
    EMAIL_USE_SSL = _mail.scheme == "smtps"
    EMAIL_USE_TLS = _mail.scheme == "smtp"
    EMAIL_TIMEOUT = 20
elif _mail.scheme == "file":
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = unquote(_mail.path)
elif _mail.scheme != "console":
    raise ImproperlyConfigured(
        f"STRONGFLOOR_MAIL_URL begins with {_mail.scheme!r}; allowed are smtp://, smtps://, "
        "file:///a/folder and console://."
    )
DEFAULT_FROM_EMAIL = SERVER_EMAIL = _env(
    "MAIL_FROM", f"strongfloor@{_public.hostname or 'localhost'}"
)
INVITATION_DAYS = 7
PASSWORD_RESET_TIMEOUT = 2 * 3600  # seconds
PASSWORD_RESETS_AN_HOUR = 3  # for one address
PASSWORD_RESETS_FROM_A_PLACE = 20  # an hour; a laboratory may sit behind one address

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": _env("LOG_LEVEL", "WARNING")},
}
