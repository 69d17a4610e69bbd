"""Slows down guessing of passwords, per account and per address, in the database so that all processes share it.

Free failures first, then a wait that doubles up to a longest one. Nobody is locked out for good.
The clock is passed in. Names and addresses are kept only as keyed digests.
"""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.utils.crypto import salted_hmac

from clinic.access.models import Member, SignInThrottle

FIRST_WAIT_SECONDS = 15
FORGOTTEN_AFTER = timedelta(hours=24)
# Apart from passwords: an old link opened ten times must not keep a practice from signing in.
LINKS, CALENDARS = "link", "calendar"


def claim_try(*, username: str, address: str, now: datetime) -> bool:
    """Whether a password may be tried now. The account pays for the try beforehand.

    Paying first means that a hundred tries at the same moment are a hundred failures, not one. The address
    pays only afterwards: a practice behind one address may well sign in ten people in the same second.
    """
    with transaction.atomic():
        account, place = row(account_digest(username), now), row(address_digest(address), now)
        if waits(account, now) or waits(place, now):
            return False
        add_failure(account, now)
        return True


def note_failure(*, address: str, now: datetime) -> None:
    """The password did not fit: now the address pays, too."""
    with transaction.atomic():
        add_failure(row(address_digest(address), now), now)
        SignInThrottle.objects.filter(last_failed_at__lt=now - FORGOTTEN_AFTER).delete()


def note_success(*, username: str, address: str, now: datetime) -> None:
    """Forget the account's failures, and those of them that its address carries.

    Failures that the address made on other accounts stay: signing in to an account of one's own must not
    buy new guesses at the others'.
    """
    with transaction.atomic():
        account, place = row(account_digest(username), now), row(address_digest(address), now)
        own_failures = min(max(account.failures - 1, 0), settings.SIGN_IN_FREE_FAILURES)  # less the try just paid for
        store(account, failures=0, wait_until_at=None)
        store(place, failures=max(place.failures - own_failures, 0), wait_until_at=place.wait_until_at)


def may_guess(kind: str, *, address: str, now: datetime) -> bool:
    """Whether an address may try a secret link now; one read. Whoever guesses wrong waits, for right links as well.

    kind: LINKS or CALENDARS. A calendar program that goes on asking for an ended address must not keep the patients
    behind the same router from their page.
    """
    throttle = SignInThrottle.objects.filter(digest=digest_of(kind, address)).first()
    return throttle is None or not waits(throttle, now)


def note_guess(kind: str, *, address: str, now: datetime) -> None:
    """The link was none of ours: the address pays."""
    with transaction.atomic():
        add_failure(row(digest_of(kind, address), now), now)


def claim_post(*, of: str, most: int, within: timedelta, now: datetime) -> bool:
    """Whether one more post may come to what `of` names, such as one link; counts it if so."""
    with transaction.atomic():
        count = row(digest_of("post", of), now)
        begins = count.last_failed_at is None or count.last_failed_at <= now - within
        if not begins and count.failures >= most:
            return False
        count.last_failed_at = now if begins else count.last_failed_at
        store(count, failures=1 if begins else count.failures + 1, wait_until_at=None)
        return True


def waits(throttle: SignInThrottle, now: datetime) -> bool:
    return throttle.wait_until_at is not None and now < throttle.wait_until_at


def wait_after(failures: int) -> timedelta | None:
    """None while failures are free; then 15 s, 30 s, 1 min … up to the longest wait."""
    beyond = failures - settings.SIGN_IN_FREE_FAILURES
    if beyond < 0:
        return None
    doublings = min(beyond, 20)  # the power of a large count would overflow a timedelta
    return timedelta(seconds=min(FIRST_WAIT_SECONDS * 2**doublings, settings.SIGN_IN_LONGEST_WAIT_SECONDS))


def row(digest: str, now: datetime) -> SignInThrottle:
    """The locked row, empty again if the last failure is long past.

    PostgreSQL locks the row; SQLite began this transaction as the only writer.
    """
    SignInThrottle.objects.get_or_create(digest=digest)
    throttle = SignInThrottle.objects.select_for_update().get(digest=digest)
    if throttle.last_failed_at and throttle.last_failed_at < now - FORGOTTEN_AFTER:
        throttle.failures, throttle.wait_until_at = 0, None
    return throttle


def add_failure(throttle: SignInThrottle, now: datetime) -> None:
    failures = throttle.failures + 1
    wait = wait_after(failures)
    throttle.last_failed_at = now
    store(throttle, failures=failures, wait_until_at=now + wait if wait else None)


def store(throttle: SignInThrottle, *, failures: int, wait_until_at: datetime | None) -> None:
    throttle.failures, throttle.wait_until_at = failures, wait_until_at
    throttle.save()


def account_digest(username: str) -> str:
    return digest_of("account", Member.normalize_username(username).casefold())


def address_digest(address: str) -> str:
    return digest_of("address", address)


def digest_of(kind: str, value: str) -> str:
    return salted_hmac(f"clinic.sign-in.{kind}", value, algorithm="sha256").hexdigest()
