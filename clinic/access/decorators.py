"""The first lines of every view: which methods, and who may."""

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from clinic.access.models import Member
from clinic.access.rules import Action, may, roles_that_may

View = Callable[..., HttpResponse]


def require_methods(*methods: str) -> Callable[[View], View]:
    """Answer 405 to all other methods; HEAD goes with GET. Goes above `allowed`."""
    return require_http_methods([*methods, *(["HEAD"] if "GET" in methods else [])])


def allowed(action: Action) -> Callable[[View], View]:
    """Let a view be reached only by members whose role may do `action`.

    Signed out: to sign-in and back. Wrong role, no practice or inactive: 403, saying who may.
    The view gets the attribute `action`, which the access matrix reads.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not works_here(request.user) or not may(request.user.role, action):
                return refused(request, action)
            return view(request, *args, **kwargs)

        guarded.action = action  # type: ignore[attr-defined]
        return guarded

    return decorate


def works_here(member: Member) -> bool:
    """Without a practice there is no row a member could see."""
    return member.is_active and member.practice_id is not None


def refused(request: HttpRequest, action: Action) -> HttpResponse:
    """The 403 page that says who may."""
    who = [role.label for role in roles_that_may(action)]
    has_practice = works_here(request.user)
    return render(request, "403.html", {"action": action, "who": who, "has_practice": has_practice}, status=403)
