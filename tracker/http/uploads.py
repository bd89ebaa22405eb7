"""Uploads under a limit: what is too large is not kept while it comes in, and the form says so beside its field."""

from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler, SkipFile

# Form and files together: twice the largest file, so that one that is a little too large is still refused in words.
MOST_FILES = 2


class LimitedUploads(FileUploadHandler):
    """The first of the handlers: drops a file that grows beyond PHOTO_MAX_BYTES and remembers under which name it came.

    A whole body beyond twice that is refused before any of it is read.
    """

    def handle_raw_input(self, input_data: Any, META: Any, content_length: int, *rest: Any, **more: Any) -> None:
        """Refuse a body that no form of ours sends. Raises RequestDataTooBig."""
        if content_length > MOST_FILES * settings.PHOTO_MAX_BYTES:
            raise RequestDataTooBig("The upload is far too large.")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        """Pass a piece on to the next handler, or drop the file. Raises SkipFile."""
        if start + len(raw_data) > settings.PHOTO_MAX_BYTES:
            self.request.dropped_files = {*dropped_files(self.request), self.field_name}
            raise SkipFile
        return raw_data

    def file_complete(self, file_size: int) -> None:
        """The other handlers keep the file."""


def dropped_files(request: Any) -> set[str]:
    """Return the names of the fields whose files were too large to be taken in."""
    return getattr(request, "dropped_files", set())
