"""What a request may bring along as a file. The limits stand in the settings, and in the web server in front.

A body beyond UPLOAD_MAX_BODY_BYTES is answered unread. Within it a file is read into memory, never to disk, up to
UPLOAD_MAX_FILE_BYTES; of a larger one only the size is kept, so that its page can say so beside everything typed.
Types are the business of the page that takes the file.
"""

from datetime import datetime, timedelta
from io import BytesIO
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import FileUploadHandler
from django.db import transaction
from django.http import HttpRequest

from clinic.access.models import Member, UploadTry

WINDOW = timedelta(minutes=1)


class BoundedMemory(FileUploadHandler):
    """Keeps one file part in memory; of one that is too large nothing but its size."""

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.file = BytesIO()
        self.size = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        self.size += len(raw_data)
        if self.size > settings.UPLOAD_MAX_FILE_BYTES:
            self.file = BytesIO()
        else:
            self.file.write(raw_data)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        self.file.seek(0)
        return InMemoryUploadedFile(
            self.file, self.field_name, self.file_name, self.content_type, self.size, self.charset,
            self.content_type_extra,
        )  # fmt: skip


def is_far_too_large(request: HttpRequest) -> bool:
    """Whether the body is announced as larger than any page takes. Without an announcement none is read."""
    announced = request.META.get("CONTENT_LENGTH") or "0"
    return announced.isdecimal() and int(announced) > settings.UPLOAD_MAX_BODY_BYTES


def claim_upload(member: Member, now: datetime) -> bool:
    """Whether this member may send one more file within the minute; counts it if so.

    Counted before the file is looked at, in the database, so that all processes share the count.
    """
    with transaction.atomic():
        Member.objects.select_for_update().get(pk=member.pk)
        UploadTry.objects.filter(at__lte=now - WINDOW).delete()
        if UploadTry.objects.filter(member=member).count() >= settings.UPLOADS_PER_MINUTE:
            return False
        UploadTry.objects.create(member=member, at=now)
    return True
