"""Notes when a member last signed in, and makes no version of the member: signing in changes nothing about them."""

from datetime import datetime

from django.contrib.auth.models import update_last_login
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.utils import timezone

from clinic.access.models import Member

# Django's own receiver saves the member, and every save of a member is kept as a version.
user_logged_in.disconnect(update_last_login, dispatch_uid="update_last_login")


@receiver(user_logged_in, dispatch_uid="note_sign_in")
def note_sign_in(sender: type[Member], user: Member, **kwargs: object) -> None:
    last_login_of(user, timezone.now())


def last_login_of(member: Member, at: datetime) -> None:
    Member.objects.filter(pk=member.pk).update(last_login=at)
    member.last_login = at
