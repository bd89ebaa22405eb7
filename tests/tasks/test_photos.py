"""The photo folder, tidied at night."""

import os

import pytest
from celery import current_app

from tests import factories as make
from tracker.actions.photo_files import write_photo

pytestmark = pytest.mark.django_db


def test_files_that_no_photo_owns_go_at_night(photo_folder):
    names = [write_photo(b"x"), write_photo(b"y")]
    for name in names:
        os.utime(photo_folder / name, (0, 0))
    make.PhotoFactory(name=names[0])
    current_app.loader.import_default_modules()
    assert current_app.tasks["tracker.forget_lost_photos"].apply(throw=True).result == 1
    assert [path.name for path in photo_folder.iterdir()] == [names[0]]
