"""Signing in against the members table."""

from django.contrib.auth.backends import ModelBackend

from clinic.access.models import Member


class MemberBackend(ModelBackend):
    """Django's own backend; reads the practice and how it follows up in the same statement: most pages need both."""

    def get_user(self, user_id: int) -> Member | None:
        member = Member.objects.select_related("practice__follow_up").filter(pk=user_id).first()
        return member if member and self.user_can_authenticate(member) else None
