"""The one settings file. What a shop may set comes from the environment.

FAYLINE_HOME      folder of everything that is data (default: var/ in the tree)
DATABASE_URL      PostgreSQL instead of the SQLite file in FAYLINE_HOME
FAYLINE_HOSTS     comma separated host names and addresses that may be asked for
FAYLINE_SHOP      the shop's name, until the lead says it on the page of the shop
FAYLINE_TIME_ZONE so too its time zone
FAYLINE_PAPER     so too its paper, a4 or letter
FAYLINE_FILES     where photos and packs lie: a shared folder, or s3://bucket/prefix
FAYLINE_LOG       where the server's log goes: a folder (log/ in the home), -, none
FAYLINE_HTTPS     1 when every page is served by https
FAYLINE_DEBUG     1 shows tracebacks: never where others can reach the server
"""

import contextlib
import os
from pathlib import Path

import dj_database_url
from django.utils.translation import gettext_lazy as _

from shop.numeric.units import BYTES_PER_MB, S_PER_DAY
from shop.secret import private_folder, secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
HOME = Path(os.environ.get("FAYLINE_HOME", BASE_DIR / "var")).resolve()
private_folder(HOME)

DEBUG = os.environ.get("FAYLINE_DEBUG") == "1"
SECRET_KEY = os.environ.get("FAYLINE_SECRET_KEY") or secret_key(HOME / "secret.key")
# A shop server is reached by whatever address its network gave it, and by the names of
# this machine (shop.middleware.KnownHost); others are listed here.
ALLOWED_HOSTS = os.environ.get("FAYLINE_HOSTS", "*").split(",")

SHOP_NAME = os.environ.get("FAYLINE_SHOP", "Fayline shop")
PAPER = os.environ.get("FAYLINE_PAPER", "a4")

INSTALLED_APPS = [
    # Before staticfiles: its `runserver` is ours.
    "shop",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    # The form renderer finds Django's own widget templates through it.
    "django.forms",
    "qa",
]

MIDDLEWARE = [
    "shop.middleware.strict_headers",
    # Before anything leads to the name that was asked for.
    "shop.middleware.KnownHost",
    "django.middleware.security.SecurityMiddleware",
    "shop.serving.static.StaticFiles",
    # Files are not told one by one, what people and tablets ask is.
    "shop.request_log.logged",
    "shop.middleware.SchemeSessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "shop.middleware.SchemeCsrfMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shop.middleware.ClosedByDefault",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    # Last, after all that finds out who asks.
    "shop.middleware.ReadableAddress",
    "shop.middleware.ShopsOwn",
    "shop.middleware.OneMoment",
]

# W003 looks for Django's own name in the list: shop.middleware subclasses it.
SILENCED_SYSTEM_CHECKS = ["security.W003"]

ROOT_URLCONF = "shop.urls"
ASGI_APPLICATION = "shop.asgi.application"
WSGI_APPLICATION = "shop.wsgi.application"

FORM_RENDERER = "shop.forms.renderer.FieldRenderer"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shop.context_processors.site",
            ],
        },
    },
]

# How long a thread of the server keeps its connection (shop/asgi.py).
KEPT_SECONDS = 600
SQLITE = {
    "ENGINE": "django.db.backends.sqlite3",
    "NAME": HOME / "fayline.sqlite3",
    "OPTIONS": {
        "timeout": 20,
        # Measured: deferred transactions fail at the upgrade to a write; a tablet
        # drops its copy on our receipt, so a commit must survive a power cut.
        "transaction_mode": "IMMEDIATE",
        # The sealer moves the log into the file each second; whoever saves does so only
        # where it has grown to 40 MB.
        "init_command": "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;"
        "PRAGMA wal_autocheckpoint=10000;",
    },
    # A new connection reads the whole schema first: 8 ms, half of a short request.
    "CONN_MAX_AGE": KEPT_SECONDS,
    "TEST": {"NAME": os.environ.get("FAYLINE_TEST_DB") or None},
}
if os.environ.get("DATABASE_URL"):
    DATABASES = {
        "default": dj_database_url.config(
            conn_max_age=KEPT_SECONDS, conn_health_checks=True
        )
    }
else:
    DATABASES = {"default": SQLITE}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shop.Person"
AUTHENTICATION_BACKENDS = ["shop.sessions.PeopleOfTheShop"]
PASSWORD_HASHERS = ["shop.hashing.GatedScrypt"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
    )
] + [{"NAME": "shop.passwords.NotPublic"}]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "front"
# A shift plus a long weekend: signing in again must not interrupt a fit check.
SESSION_COOKIE_AGE = 14 * S_PER_DAY
SESSION_ENGINE = "shop.sessions"

# Cookies are named and secured by scheme (shop.middleware): https gets
# __Host- cookies, plain http on the shop network ordinary ones.
HTTPS = os.environ.get("FAYLINE_HTTPS") == "1"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "shop.views.errors.csrf_failure"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 3600 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
X_FRAME_OPTIONS = "DENY"
SECURE_CSP = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' blob: data:",
    "connect-src": "'self'",
    "font-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}

LANGUAGE_CODE = "en-us"
LANGUAGES = [("en-us", _("English"))]
USE_I18N = True
USE_TZ = True
TIME_ZONE = os.environ.get("FAYLINE_TIME_ZONE", "UTC")

STATIC_URL = "static/"
STATIC_ROOT = Path(os.environ.get("FAYLINE_STATIC_ROOT", HOME / "static"))
# WhiteNoise warns of a folder that is not there; on media that cannot be written
# nothing is served.
with contextlib.suppress(OSError):
    STATIC_ROOT.mkdir(parents=True, exist_ok=True)
STATIC_IS_COLLECTED = (STATIC_ROOT / "staticfiles.json").exists()
# Without collectstatic (demo, tests) files are served from where they lie.
WHITENOISE_USE_FINDERS = not STATIC_IS_COLLECTED
WHITENOISE_AUTOREFRESH = False
WHITENOISE_ALLOW_ALL_ORIGINS = False
COLLECTED_STORAGE = "shop.storage.CollectedStaticFiles"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": COLLECTED_STORAGE
        if STATIC_IS_COLLECTED or os.environ.get("FAYLINE_STATIC_ROOT")
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
# Photos and packs, by their digests: see shop/ledger/file_store.py.
FILES = os.environ.get("FAYLINE_FILES", "")
BUCKET = FILES if "://" in FILES else ""
# Of what lies in a bucket: what was asked for here.
MEDIA_ROOT = (
    HOME / "files-at-hand" if BUCKET else Path(FILES or HOME / "photos").resolve()
)

DATA_UPLOAD_MAX_MEMORY_SIZE = 2_000_000
FILE_UPLOAD_MAX_MEMORY_SIZE = BYTES_PER_MB
UPLOAD_LIMIT_BYTES = 5_000_000
PHOTO_LIMIT_BYTES = 15_000_000

# Of the server alone: see shop/serving/logs.py.
LOG = os.environ.get("FAYLINE_LOG") or str(HOME / "log")
if LOG not in ("-", "none"):
    LOG = str(Path(LOG).resolve())
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler", "level": "WARNING"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
