"""Signing in and out, one's own account, people, health, and the pages for errors."""

import ipaddress
import logging
import shutil
from collections.abc import Callable
from datetime import datetime
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.contrib.auth.models import AnonymousUser
from django.contrib.messages.storage.cookie import CookieStorage
from django.core.exceptions import BadRequest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from clinic.access.decorators import allowed, refused, require_methods, works_here
from clinic.access.forms import (
    AccountForm,
    FirstPasswordForm,
    NewPasswordForm,
    PersonForm,
    RoleForm,
    SignInForm,
)
from clinic.access.furniture import menu_of
from clinic.access.models import Member, SignInThrottle
from clinic.access.once import claim, first_or_result
from clinic.access.passwords import first_password_link
from clinic.access.requests import client_address
from clinic.access.rules import Action, Role, may
from clinic.access.throttle import claim_try, note_failure, note_success

logger = logging.getLogger("clinic.access")

# One text for an unknown name, a wrong password, a closed account and a wait: it tells a stranger nothing.
DOES_NOT_FIT = "That name and password do not fit, or there were too many tries. Wait a little and try again."
LEAST_FREE_DISK = 0.10


# --- signing in and out


@require_methods("GET", "POST")
def sign_in(request: HttpRequest) -> HttpResponse:
    next_path = own_path(request.POST.get("next") or request.GET.get("next"))
    if request.method == "GET" and request.user.is_authenticated:
        return redirect(next_path or "home")
    form = SignInForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        member = member_signing_in(request, form, now=timezone.now())
        if member:
            login(request, member)  # gives the session a new key
            return redirect(next_path or "home")
        form.add_error(None, DOES_NOT_FIT)
    return render(request, "access/sign_in.html", {"form": form, "next": next_path})


def member_signing_in(request: HttpRequest, form: SignInForm, *, now: datetime) -> Member | None:
    username, address = form.cleaned_data["username"], client_address(request)
    if not claim_try(username=username, address=address, now=now):
        return noted_failure(request, "sign_in_waits")
    member = authenticate(request, username=username, password=form.cleaned_data["password"])
    if member is None:
        note_failure(address=address, now=now)
        return noted_failure(request, "sign_in_failed")
    note_success(username=username, address=address, now=now)
    return member


def noted_failure(request: HttpRequest, event: str) -> None:
    """Counted in the log without the name: people type their password into the wrong box."""
    logger.warning(event, extra={"fields": {"request_id": request.id}})


def own_path(wanted: str | None) -> str:
    """`wanted` if it is a page of this site, otherwise nothing.

    Browsers read backslashes as slashes and drop control characters, so that //evil has many spellings.
    """
    path = unquote(wanted or "")
    odd = not path.startswith("/") or path.startswith("//") or "\\" in path or any(ord(letter) < 33 for letter in path)
    if odd or not url_has_allowed_host_and_scheme(wanted, allowed_hosts=None):
        return ""
    try:
        resolve(urlsplit(path).path)
    except (Resolver404, ValueError):
        return ""
    return wanted or ""


@require_methods("POST")
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    response = redirect("sign-in")
    response["Clear-Site-Data"] = '"cache"'  # the back button shows nothing of the last member
    return response


@require_methods("GET", "POST")
def set_password(request: HttpRequest, key: str, token: str) -> HttpResponse:
    """The page behind a one-time link. Who holds it is nobody yet: it signs nobody in."""
    member = Member.objects.filter(key=key, is_active=True).first()
    if not first_password_link.check_token(member, token):
        return render(request, "access/link_spent.html", status=410)
    form = FirstPasswordForm(member, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Your password is set. Sign in with it now.")
        return redirect("sign-in")
    return render(request, "access/set_password.html", {"form": form, "member": member})


# --- one's own pages


@require_methods("GET")
@allowed(Action.OWN_ACCOUNT)
def home(request: HttpRequest) -> HttpResponse:
    """The first page of the role's menu: Today in care, People for administrators, Exchange for reviewers."""
    menu = menu_of(request.user)
    return redirect(menu[0].url if menu else "account")


@require_methods("GET", "POST")
@allowed(Action.OWN_ACCOUNT)
def account(request: HttpRequest) -> HttpResponse:
    chosen = request.POST.get("do")
    settings_form = AccountForm(request.POST if chosen == "settings" else None, instance=request.user)
    password_form = NewPasswordForm(request.user, request.POST if chosen == "password" else None)
    if chosen == "settings" and settings_form.is_valid():
        settings_form.save()
        return done(request, "Your settings are saved.", "account")
    if chosen == "password" and password_form.is_valid():
        # Ends the member's other sessions; this one gets a new key.
        update_session_auth_hash(request, password_form.save())
        return done(request, "Your password is changed. Your other sessions have ended.", "account")
    return render(request, "access/account.html", {"settings_form": settings_form, "password_form": password_form})


@require_methods("GET")
@allowed(Action.OWN_ACCOUNT)
def help_page(request: HttpRequest) -> HttpResponse:
    return render(request, "access/help.html", {"practice": request.user.practice})


def done(request: HttpRequest, sentence: str, *to: str) -> HttpResponse:
    messages.success(request, sentence)
    return redirect(*to)


# --- people


@require_methods("GET")
@allowed(Action.MANAGE_PEOPLE)
def people(request: HttpRequest) -> HttpResponse:
    members = request.user.practice.members.order_by("-is_active", "last_name", "first_name", "username")
    return render(request, "access/people.html", {"members": members})


@require_methods("GET", "POST")
@allowed(Action.MANAGE_PEOPLE)
def person_add(request: HttpRequest) -> HttpResponse:
    form = PersonForm(request.POST if request.method == "POST" else None)
    may_be_added = form.is_valid()
    # Looked up after validating: the name of a form sent twice is taken by its own first success.
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if may_be_added:
        try:
            return add_person(request, form)
        except IntegrityError:
            form.add_error("username", "This sign-in name is taken; choose another.")
    return render(request, "access/person_add.html", {"form": form})


def add_person(request: HttpRequest, form: PersonForm) -> HttpResponse:
    member = form.save(commit=False)
    member.practice = request.user.practice
    member.set_unusable_password()
    with transaction.atomic():
        if earlier := claim(request.user, form.once, reverse("person-change", args=[member.key])):
            return redirect(earlier)
        member.save()
    return link_page(request, member)


@require_methods("GET", "POST")
@allowed(Action.MANAGE_PEOPLE)
def person_change(request: HttpRequest, key: str) -> HttpResponse:
    member = get_object_or_404(request.user.practice.members, key=key)
    form = RoleForm(request.POST if request.POST.get("do") == "role" else None, instance=member)
    if request.method == "POST":
        return changed_person(request, member, form)
    return render(request, "access/person_change.html", {"member": member, "form": form})


def changed_person(request: HttpRequest, member: Member, form: RoleForm) -> HttpResponse:
    match request.POST.get("do"):
        case "role" if form.is_valid():
            return save_person(request, member, "role", f"{member} is now {member.get_role_display().lower()}.")
        case "role":
            return render(request, "access/person_change.html", {"member": member, "form": form})
        case "deactivate":
            member.is_active = False
            return save_person(request, member, "is_active", f"{member} can no longer sign in.")
        case "reactivate":
            member.is_active = True
            return save_person(request, member, "is_active", f"{member} can sign in again.")
        case "link" if member.is_active:
            return link_page(request, member)
        case _:
            raise BadRequest("No such change of a person.")


def save_person(request: HttpRequest, member: Member, field: str, sentence: str) -> HttpResponse:
    """Write the one changed field, unless nobody could manage people afterwards."""
    with transaction.atomic():
        if not may_run_practice(member) and not other_administrators(member):
            messages.error(request, f"{member} is the only administrator. Make somebody else administrator first.")
            return redirect("person-change", member.key)
        member.save(update_fields=[field])
    return done(request, sentence, "person-change", member.key)


def may_run_practice(member: Member) -> bool:
    return member.is_active and may(member.role, Action.MANAGE_PEOPLE)


def other_administrators(member: Member) -> list[Member]:
    """Locked and read in one order, so that two administrators who remove each other cannot both succeed."""
    administrators = member.practice.members.filter(role=Role.ADMINISTRATOR, is_active=True)
    return [other for other in administrators.select_for_update().order_by("pk") if other.pk != member.pk]


def link_page(request: HttpRequest, member: Member) -> HttpResponse:
    """Shows the link in this one answer and keeps it nowhere."""
    token = first_password_link.make_token(member)
    link = request.build_absolute_uri(reverse("set-password", args=[member.key, token]))
    fields = {"request_id": request.id, "user_id": request.user.pk, "for_user_id": member.pk}
    logger.info("password_link_made", extra={"fields": fields})
    return render(request, "access/person_link.html", {"member": member, "link": link})


# --- health


@require_methods("GET")
def healthz(request: HttpRequest) -> HttpResponse:
    """The process answers. No database, no session, no detail."""
    return HttpResponse("alive\n", content_type="text/plain")


@require_methods("GET")
def readyz(request: HttpRequest) -> HttpResponse:
    if not is_local(request) and not is_administrator(request):
        return refused(request, Action.MANAGE_PEOPLE)
    state = {"database": answers(can_write), "migrations": answers(is_migrated), "disk": answers(has_space)}
    return JsonResponse(state, status=200 if all(state.values()) else 503)


def is_local(request: HttpRequest) -> bool:
    """From this machine itself. A request that a proxy on this machine passes on comes from elsewhere."""
    passed_on = any(name.startswith(("HTTP_X_FORWARDED", "HTTP_FORWARDED", "HTTP_X_REAL")) for name in request.META)
    try:
        return not passed_on and ipaddress.ip_address(request.META["REMOTE_ADDR"]).is_loopback
    except ValueError:
        return False


def is_administrator(request: HttpRequest) -> bool:
    member = request.user
    return member.is_authenticated and works_here(member) and may(member.role, Action.MANAGE_PEOPLE)


def answers(check: Callable[[], bool]) -> bool:
    try:
        return check()
    except (DatabaseError, OSError):
        return False


def can_write() -> bool:
    """Writes a row and takes it back."""
    with transaction.atomic():
        SignInThrottle.objects.create(digest="readiness")
        transaction.set_rollback(True)
    return True


def is_migrated() -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def has_space() -> bool:
    disk = shutil.disk_usage(settings.VAR_DIR)
    return disk.free / disk.total > LEAST_FREE_DISK


# --- errors


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return error_page(request, "400.html", 400)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return error_page(request, "403.html", 403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return error_page(request, "404.html", 404)


def too_large(request: HttpRequest) -> HttpResponse:
    return error_page(request, "413.html", 413)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return error_page(request, "403_csrf.html", 403)


def server_error(request: HttpRequest) -> HttpResponse:
    """Whatever broke may be the database, so this page asks it nothing."""
    sign_out_for_this_page(request)
    return error_page(request, "500.html", 500)


def error_page(request: HttpRequest, template: str, status: int) -> HttpResponse:
    try:
        getattr(request, "user", AnonymousUser()).is_authenticated  # noqa: B018 - the look that may fail
        return render(request, template, status=status)
    except Exception:  # any: this is the last page there is
        logger.exception("error_page_failed")
        return bare_page(request, template, status)


def bare_page(request: HttpRequest, template: str, status: int) -> HttpResponse:
    sign_out_for_this_page(request)
    try:
        return render(request, template, status=status)
    except Exception:
        reference = getattr(request, "id", "none")
        text = f"Something went wrong. Go back and try again. Reference: {reference}\n"
        return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8")


def sign_out_for_this_page(request: HttpRequest) -> None:
    """Draw the page as for a stranger: menu and messages would read the session from the database."""
    request.user = AnonymousUser()
    request._messages = CookieStorage(request)  # type: ignore[attr-defined]
