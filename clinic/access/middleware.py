"""What every answer carries, and one log line for every request."""

import logging
import re
import secrets
import time
from collections.abc import Callable, Iterable

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, UnreadablePostError
from django.http.multipartparser import MultiPartParserError

Answer = Callable[[HttpRequest], HttpResponse]
logger = logging.getLogger("clinic.request")

PERMISSIONS_POLICY = "camera=(), microphone=(), geolocation=()"
METHODS = ["GET", "HEAD", "POST", "OPTIONS"]
UNSTORABLE = re.compile("[\x00\ud800-\udfff]")


class BrowserSafety:
    """Headers for every page, and an early end for requests no browser of ours sends."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        identify(request)
        response = refusal(request) or self.get_response(request)
        response["Permissions-Policy"] = PERMISSIONS_POLICY
        # Static files never come here: they are answered further out, and may be cached.
        response["Cache-Control"] = "no-store"
        return response


class RequestLog:
    """One line per request: route name and numbers, never the address, the query or the body."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        identify(request)
        started = time.monotonic()
        response = self.get_response(request)
        log_answer(request, response, milliseconds=round((time.monotonic() - started) * 1000))
        return response


def identify(request: HttpRequest) -> None:
    """Give the request a number of our own; a number sent along by the browser could be forged."""
    if not hasattr(request, "id"):
        request.id = secrets.token_hex(8)  # type: ignore[attr-defined]


def refusal(request: HttpRequest) -> HttpResponse | None:
    """The answer to a request that no view should see; None for all others."""
    from clinic.access.uploads import is_far_too_large  # models and views need the settings, which load this module
    from clinic.access.views import bad_request, too_large

    if request.method in {"TRACE", "TRACK"}:
        return noted(request, HttpResponseNotAllowed(METHODS))
    if is_far_too_large(request):
        return noted(request, too_large(request))
    if speaks_another_charset(request) or has_unstorable_text(request):
        return noted(request, bad_request(request))
    return None


def noted(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    log_answer(request, response, milliseconds=0)
    return response


def speaks_another_charset(request: HttpRequest) -> bool:
    """Whether the body claims a charset other than UTF-8: Python would look up codecs that are none for text."""
    claimed = request.content_params.get("charset") if request.content_params else None
    return claimed is not None and claimed.strip("\"' ").lower() not in {"utf-8", "utf8"}


def has_unstorable_text(request: HttpRequest) -> bool:
    """Whether any text holds a NUL or half a character pair, which no database stores and no page can print.

    Cookies count: a quoted cookie may carry it in octal, and the session key is looked up in the database.
    A body that cannot be read is refused the same way.
    """
    try:
        return any(UNSTORABLE.search(text) for text in texts(request))
    except (SuspiciousOperation, MultiPartParserError, UnreadablePostError, LookupError, UnicodeError):
        request._mark_post_parse_error()  # type: ignore[attr-defined]
        return True


def texts(request: HttpRequest) -> Iterable[str]:
    yield request.path_info
    yield from request.COOKIES.values()
    for data in (request.GET, request.POST):
        for name, values in data.lists():
            yield name
            yield from values


def log_answer(request: HttpRequest, response: HttpResponse, *, milliseconds: int) -> None:
    fields = {
        "request_id": request.id,  # type: ignore[attr-defined]
        "user_id": known_member_id(request),
        "method": request.method if request.method in METHODS else "other",
        "route": request.resolver_match.view_name if request.resolver_match else None,
        "status": response.status_code,
        "duration_ms": milliseconds,
    }
    logger.log(level_of(response.status_code), "request", extra={"fields": fields})


def level_of(status: int) -> int:
    if status >= 500:
        return logging.ERROR
    return logging.WARNING if status >= 400 else logging.INFO


def known_member_id(request: HttpRequest) -> int | None:
    """The member if the view asked who it is; looking it up only for the log would read the session."""
    member = getattr(request, "_cached_user", None)
    return getattr(member, "pk", None)
