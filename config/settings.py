"""Settings, read from the environment; every default is right for one farm on one machine."""

import os
from pathlib import Path

import environ

from config.durability import sqlite_options
from config.logs import without_trace_of_refusal
from config.secret import read_or_make_secret

# Sums here are small and many requests run side by side: threads within one sum wait for each other longer than the
# sum takes (a season's forecast was three to five times as slow with them on two busy cores). Read by numpy and scipy
# as they are imported, which is after this.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DATA_DIR = Path(env.str("SCUTEBOOK_DATA", default=str(BASE_DIR / ".data")))
DATA_DIR.mkdir(parents=True, exist_ok=True)

DEBUG = env.bool("SCUTEBOOK_DEBUG", default=False)
SECRET_KEY = env.str("SCUTEBOOK_SECRET_KEY", default="") or read_or_make_secret(DATA_DIR / "secret_key")
ALLOWED_HOSTS = env.list("SCUTEBOOK_HOSTS", default=["127.0.0.1", "localhost", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("SCUTEBOOK_ORIGINS", default=[])
# On the farm's network the site is reached over HTTPS only; on 127.0.0.1 plain HTTP is allowed.
BEHIND_HTTPS = env.bool("SCUTEBOOK_HTTPS", default=False)

INSTALLED_APPS = [
    "config.apps.ConfigConfig",
    "stock.apps.StockConfig",
    "ponds.apps.PondsConfig",
    "django_tables2",
    "django_filters",
    "axes",
    "csp",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.forms",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    # First, so that redirects to HTTPS, static files and refusals carry the policy too.
    "csp.middleware.CSPMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "config.middleware.RoleMiddleware",
    "config.middleware.TextOnlyMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
    "config.middleware.PageTablesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "config" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.farm_and_role",
            ],
        },
    }
]
FORM_RENDERER = "config.forms.PlainFormRenderer"

DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'register.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = sqlite_options()
    if test_name := env.str("SCUTEBOOK_TEST_SQLITE", default=""):
        DATABASES["default"]["TEST"] = {"NAME": test_name}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"

# Six wrong tries hold that name at that address for five minutes: other addresses stay open to it,
# so nobody can be locked out for good by somebody else's guessing. Many wrong tries under many names hold
# the address itself, as long: see the handler.
AXES_HANDLER = "config.people.door.AddressHandler"
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = 5 / 60
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_TEMPLATE = "sign_in_held.html"
AXES_HTTP_RESPONSE_CODE = 429
AXES_VERBOSE = False
# Whose name was tried from where is what the log is for; passwords are masked in any case.
AXES_SENSITIVE_PARAMETERS: list[str] = []
AXES_ENABLE_ACCESS_FAILURE_LOG = True
AXES_CLIENT_IP_CALLABLE = "config.people.addresses.address_of"
# The proxies whose word on where a request came from is taken; asked only under SCUTEBOOK_HTTPS.
TRUSTED_PROXIES = env.list("SCUTEBOOK_PROXIES", default=["127.0.0.1", "::1"])

SESSION_COOKIE_AGE = 7 * 24 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_HTTPS
if BEHIND_HTTPS:
    # The prefix makes a browser refuse these cookies from any other host or without HTTPS (RFC 6265bis).
    SESSION_COOKIE_NAME = "__Host-sessionid"
    CSRF_COOKIE_NAME = "__Host-csrftoken"
SECURE_SSL_REDIRECT = BEHIND_HTTPS
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if BEHIND_HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = BEHIND_HTTPS
if BEHIND_HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "worker-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "object-src": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}

# A note may be long, but nothing a person types is megabytes: the form says so before this cuts in.
DATA_UPLOAD_MAX_MEMORY_SIZE = 8 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000

LANGUAGE_CODE = "en-us"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
STATICFILES_DIRS = [BASE_DIR / "config" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": env.str(
            "SCUTEBOOK_STATIC", default="whitenoise.storage.CompressedManifestStaticFilesStorage"
        )
    },
}

DJANGO_TABLES2_TEMPLATE = "django_tables2/plain.html"
EXPORT_FORMATS = ["csv", "xlsx"]

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    # A page that somebody may not see is one line in the log: nothing broke, so there is no traceback.
    "filters": {
        "brief_refusals": {"()": "django.utils.log.CallbackFilter", "callback": without_trace_of_refusal}
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "filters": ["brief_refusals"]}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
