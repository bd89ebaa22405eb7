"""A real Chromium against a real server in this process."""

import os
import shutil
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth.models import Group
from playwright.sync_api import sync_playwright

from tracker.models import User

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")  # the browser's driver runs a loop in this thread
SHOTS = Path(__file__).parent / "shots"
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]


@pytest.fixture(scope="session")
def django_db_modify_db_settings(tmp_path_factory) -> None:
    """A database in a file, as in the workshop: in memory two requests at one time do not wait for each other."""
    row = settings.DATABASES["default"]
    if row["ENGINE"] == "tracker.sqlite3":
        row["TEST"] = {**row["TEST"], "NAME": str(tmp_path_factory.mktemp("browser") / "tests.sqlite3")}


@pytest.fixture(scope="session")
def chromium():
    """One browser for all."""
    SHOTS.mkdir(exist_ok=True)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def mechanic(transactional_db):
    """A mechanic who can log in."""
    person = User.objects.create_user("mechanic", password="spoke-and-hub-9", display_name="Mika")
    person.groups.add(*(Group.objects.get_or_create(name=name)[0] for name in ("mechanic", "desk")))
    return person


@pytest.fixture
def desk(chromium, live_server, mechanic):
    """A page of that mechanic, logged in."""
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto("/login/")
    page.fill("input[name=username]", "mechanic")
    page.fill("input[name=password]", "spoke-and-hub-9")
    page.press("input[name=password]", "Enter")
    page.wait_for_url(live_server.url + "/")
    yield page
    context.close()
