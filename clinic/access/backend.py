"""Signing in against the members table."""

from django.contrib.auth.backends import ModelBackend

from clinic.access.models import Member


class MemberBackend(ModelBackend):
    """Django's own backend; reads the practice in the same statement, since every page prints its name."""

    def get_user(self, user_id: int) -> Member | None:
        member = Member.objects.select_related("practice").filter(pk=user_id).first()
        return member if member and self.user_can_authenticate(member) else None
