"""Requests as this site reads them: always UTF-8, and from the address that the proxy in front saw."""

import ipaddress

from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler, WSGIRequest
from django.http import HttpRequest
from django.utils.http import parse_header_parameters

UNREADABLE = "unreadable"


class Utf8Request(WSGIRequest):
    """A request whose text is UTF-8 whatever it claims.

    Django decodes the query while it builds the request, before any middleware could refuse it, with whatever codec
    the Content-Type names; some of Python's codecs are none for text. The claim stays readable in `content_params`,
    so that the middleware answers it with 400.
    """

    def _set_content_type_params(self, meta: dict[str, str]) -> None:
        try:
            self.content_type, self.content_params = parse_header_parameters(meta.get("CONTENT_TYPE", ""))
        except ValueError:
            self.content_type, self.content_params = "", {"charset": UNREADABLE}


class Utf8Handler(WSGIHandler):
    request_class = Utf8Request


def client_address(request: HttpRequest) -> str:
    """The address of whoever asks; behind a proxy, the last one that our own proxies did not write themselves.

    X-Forwarded-For is read from the right, because a client may send any beginning of it; it is believed only if
    the connection comes from an address in TRUSTED_PROXIES (or from a socket file, which only this machine reaches).
    """
    peer = request.META.get("REMOTE_ADDR", "")
    if not is_trusted(peer):
        return peer
    passed_on_for = [hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if hop.strip()]
    strangers = [hop for hop in passed_on_for if not is_trusted(hop)]
    return strangers[-1] if strangers else peer


def is_trusted(address: str) -> bool:
    """Whether `address` is one of the practice's own proxies; never without BEHIND_PROXY=1."""
    if not settings.TRUSTED_PROXIES:
        return False
    if not address:
        return True
    try:
        place = ipaddress.ip_address(address)
    except ValueError:
        return False
    return any(place in ipaddress.ip_network(proxy, strict=False) for proxy in settings.TRUSTED_PROXIES)
