"""The letters that the folder channel kept: removed when what they say is to be kept no longer."""

from collections.abc import Iterable
from pathlib import Path

from django.conf import settings


def remove_letters(names: Iterable[str]) -> None:
    """Remove these files from the mail folder; one that is gone already is as good."""
    for name in names:
        (Path(settings.MAIL_FOLDER) / Path(name).name).unlink(missing_ok=True)
