"""Checks at start that the framework does not make: content policy, cookie names, SQLite, throttle."""

from collections.abc import Iterable

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register

FORBIDDEN_SOURCES = {"'unsafe-inline'", "'unsafe-eval'", "'unsafe-hashes'", "*", "data:", "blob:", "http:", "https:"}
CODE_DIRECTIVES = ("default-src", "script-src", "style-src", "object-src", "base-uri")
CLOSED_DIRECTIVES = ("object-src", "base-uri", "frame-ancestors")
PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON")
LEAST_TIMEOUT_SECONDS = 10
LONGEST_WAIT_SECONDS = 15 * 60


@register(Tags.security)
def check_content_policy(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    policy = getattr(settings, "CONTENT_SECURITY_POLICY", {}).get("DIRECTIVES", {})
    if "csp.middleware.CSPMiddleware" not in settings.MIDDLEWARE or not policy:
        return [Error("No Content-Security-Policy is sent.", id="clinic.E001")]
    return [*open_code(policy), *open_frames(policy)]


def open_code(policy: dict[str, Iterable[str]]) -> list[CheckMessage]:
    return [
        Error(f"{directive} of the content policy allows {source}.", id="clinic.E002")
        for directive in CODE_DIRECTIVES
        for source in sorted(FORBIDDEN_SOURCES & set(policy.get(directive, ())))
    ]


def open_frames(policy: dict[str, Iterable[str]]) -> list[CheckMessage]:
    return [
        Error(f"{directive} of the content policy must be 'none'.", id="clinic.E003")
        for directive in CLOSED_DIRECTIVES
        if list(policy.get(directive, ())) != ["'none'"]
    ]


@register(Tags.security)
def check_cookie_names(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    """The prefix makes browsers refuse a cookie set by a neighbouring host or without encryption."""
    if not settings.PRODUCTION:
        return []
    names = ("SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME")
    plain = [name for name in names if not getattr(settings, name).startswith("__Host-")]
    return [Error(f"{name} must begin with __Host- in production.", id="clinic.E004") for name in plain]


@register(Tags.security)
def check_sqlite(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    """Without these an acknowledged write may be lost at a power cut, or refused while another one runs."""
    database = settings.DATABASES["default"]
    faults = sqlite_faults(database.get("OPTIONS", {})) if database["ENGINE"].endswith("sqlite3") else []
    return [Error(f"The SQLite database lacks {fault}.", id="clinic.E005") for fault in faults]


def sqlite_faults(options: dict[str, object]) -> list[str]:
    faults = [pragma for pragma in PRAGMAS if pragma not in options.get("init_command", "")]
    if options.get("transaction_mode") != "IMMEDIATE":
        faults.append("transaction_mode IMMEDIATE")
    if options.get("timeout", 0) < LEAST_TIMEOUT_SECONDS:
        faults.append(f"a timeout of {LEAST_TIMEOUT_SECONDS} s or more")
    return faults


@register(Tags.security)
def check_throttle(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    """A longest wait beyond 15 minutes would let a stranger lock somebody out."""
    free, longest = settings.SIGN_IN_FREE_FAILURES, settings.SIGN_IN_LONGEST_WAIT_SECONDS
    if 1 <= free <= 10 and 60 <= longest <= LONGEST_WAIT_SECONDS:
        return []
    return [Error("Sign-in must allow 1 to 10 failures and then waits of at most 1 to 15 minutes.", id="clinic.E006")]
