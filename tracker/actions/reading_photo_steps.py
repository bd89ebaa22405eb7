"""Steps that end what is kept of an owner's pictures of the display. They open no transaction of their own."""

from django.db import transaction
from django.db.models import QuerySet

from tracker.actions.photo_files import remove_photo
from tracker.models import ReadingPhoto


def forget_reading_photos(rows: QuerySet[ReadingPhoto]) -> int:
    """Remove these pictures, the files once that is certain; return how many."""
    names = list(rows.values_list("name", flat=True))
    ReadingPhoto.objects.filter(name__in=names).delete()
    transaction.on_commit(lambda: [remove_photo(name) for name in names])
    return len(names)
