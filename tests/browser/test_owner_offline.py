"""The owner's page without a connection, in Chromium: the copy with its moment, and the cases in which there must be none.

The connection is a line of the test's own between browser and server, which is cut as a phone's is: the browser's own
offline switch does not reach what a worker asks.
"""

import select
import socket
import socketserver
import threading
import time
from urllib.parse import urlsplit

import pytest
from django.utils import timezone

from tests.browser.conftest import SHOTS
from tests.browser.test_accessibility import faults
from tests.browser.test_owner import trike  # noqa: F401 - the fixture
from tests.servers import serving
from tracker.actions.owner_links import make_link, revoke_links
from tracker.models import OdometerReading


class Line(socketserver.ThreadingTCPServer):
    """Passes octets on to the server until it is cut; then connections are refused and open ones end."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, port: int) -> None:
        super().__init__(("127.0.0.1", 0), Passing)
        self.onward, self.open, self.is_cut = ("localhost", port), set(), threading.Event()

    @property
    def url(self) -> str:
        return f"http://localhost:{self.server_address[1]}"

    def verify_request(self, request: socket.socket, client_address: tuple) -> bool:
        return not self.is_cut.is_set()


class Passing(socketserver.BaseRequestHandler):
    def handle(self) -> None:
        with socket.create_connection(self.server.onward) as onward:
            ends = {self.request: onward, onward: self.request}
            while not self.server.is_cut.is_set():
                ready, _, _ = select.select(list(ends), [], [], 0.05)
                for end in ready:
                    octets = end.recv(65_536)
                    if not octets:
                        return
                    ends[end].sendall(octets)


@pytest.fixture
def line(live_server):
    with serving(Line(urlsplit(live_server.url).port)) as line:
        yield line


@pytest.fixture
def phone(chromium, line, trike):  # noqa: F811
    """A phone on which the link was opened once and whose worker has its copy."""
    token = make_link(trike_id=trike.pk, owner_id=trike.ownerships.get().owner_id, purpose="page", now=timezone.now())[
        1
    ]
    context = chromium.new_context(
        base_url=line.url, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, device_scale_factor=2
    )
    page = context.new_page()
    page.goto(f"/o/{token}")
    until(page, KEPT)
    yield page
    context.close()


KEPT = "async () => await caches.has('owner-copy') && (await (await caches.open('owner-copy')).keys()).length === 1"
LATER_KEPT = "async () => (await (await caches.match('/o/')).text()).includes('We wait until')"
GONE = "async () => !(await caches.has('owner-copy'))"
ALL_KEPT = """async () => { const all = []; for (const name of await caches.keys())
    for (const request of await (await caches.open(name)).keys()) all.push([name, new URL(request.url).pathname]); return all }"""


def until(page, asked: str) -> None:
    """Ask the page until the answer is yes: a promise is always true to the browser driver's own way of waiting."""
    end = time.monotonic() + 10
    while not page.evaluate(asked):
        assert time.monotonic() < end, asked
        page.wait_for_timeout(50)


def text(page) -> str:
    return page.inner_text("main")


def test_without_a_connection_the_last_copy_is_shown_with_its_moment(phone, line, trike):  # noqa: F811
    assert not phone.is_visible("#seen")
    line.is_cut.set()
    phone.goto("/o/")
    assert phone.is_visible("#seen")
    assert "No connection. This is what the page said on" in text(phone)
    assert "Due at the workshop" in text(phone)
    assert phone.evaluate("[...document.forms].every(form => form.inert)")
    assert phone.evaluate("[...document.querySelectorAll('[name=key]')].every(field => field.value === '')")
    assert (
        phone.evaluate("getComputedStyle(document.querySelector('.sheet')).borderRadius") == "8px"
    )  # it has its style
    assert faults(phone) == []
    phone.screenshot(path=SHOTS / "owner-offline-390.png", full_page=True)


def test_what_is_kept_is_one_page_under_one_plain_name(phone):
    assert sorted(phone.evaluate(ALL_KEPT)) == [
        ["owner-copy", "/o/"], ["owner-shell-1", "/o/offline"], ["owner-shell-1", "/static/tracker/owner.css"],
    ]  # fmt: skip


def test_another_page_says_plainly_that_there_is_no_connection(phone, line):
    line.is_cut.set()
    phone.goto("/o/settings")
    assert "This device cannot reach us now." in text(phone)
    phone.screenshot(path=SHOTS / "owner-no-connection-390.png", full_page=True)
    phone.tap("text=What your trike’s page said last")
    assert "No connection." in text(phone)


def test_with_the_connection_back_the_page_is_fresh_and_forms_work(phone, line):
    line.is_cut.set()
    phone.goto("/o/")
    line.is_cut.clear()
    phone.goto("/o/")
    assert not phone.is_visible("#seen")
    phone.fill("#value", "1950")
    phone.tap("#reading button")
    phone.wait_for_url("**/o/?said=reading")
    assert OdometerReading.objects.filter(source="owner", value=1950).exists()


def test_the_copy_holds_what_was_sent_last_and_not_the_thanks_for_it(phone, line):
    phone.tap("text=2 weeks")
    phone.wait_for_url("**/o/?said=later")
    until(phone, LATER_KEPT)
    line.is_cut.set()
    phone.goto("/o/")
    assert "We wait until" in text(phone)
    assert "We wait with the next reminder as you asked." not in text(phone)


def ended(phone, line) -> None:
    """No copy is left, and none is shown."""
    until(phone, GONE)
    line.is_cut.set()
    phone.goto("/o/")
    assert "This device cannot reach us now." in text(phone)
    assert "Due at the workshop" not in text(phone)


def test_who_stopped_the_reminders_finds_no_copy(phone, line):
    phone.tap("text=Stop service reminders")
    phone.wait_for_url("**/o/?said=stopped")
    ended(phone, line)


def test_who_handed_the_trike_on_finds_none(phone, line):
    phone.tap("text=Somebody else gets the trike")
    phone.fill("#words", "My brother Nils, from Sunday on.")
    phone.tap("text=Tell the workshop")
    phone.wait_for_url("**/o/?said=handed")
    ended(phone, line)


def test_a_link_that_was_revoked_takes_the_copy_along_at_the_next_look(phone, line, trike):  # noqa: F811
    revoke_links(trike_id=trike.pk, now=timezone.now())
    phone.goto("/o/")
    assert "Ask for a new link" in text(phone)
    ended(phone, line)


def test_who_lets_the_device_forget_finds_none(phone, line):
    phone.tap("text=Forget my trike on this device")
    phone.wait_for_url("**/o/left?language=en")
    phone.screenshot(path=SHOTS / "owner-left-390.png", full_page=True)
    ended(phone, line)


def test_a_copy_past_its_time_is_not_shown(phone, line):
    phone.evaluate(
        """async () => { const cache = await caches.open('owner-copy');
        const page = await (await cache.match('/o/')).text();
        const headers = {'Content-Type': 'text/html', 'Owner-Copy': 'keep; until=1000'};
        await cache.put('/o/', new Response(page, {headers})) }"""
    )
    line.is_cut.set()
    phone.goto("/o/")
    assert "This device cannot reach us now." in text(phone)
    assert phone.evaluate(GONE)


def test_a_browser_can_install_it(phone):
    """Chromium reads the manifest and finds no fault in it (Chrome DevTools Protocol, Page.getAppManifest)."""
    wire = phone.context.new_cdp_session(phone)
    told = wire.send("Page.getAppManifest")
    assert told["url"].endswith("/o/app.webmanifest?language=en-gb")
    assert told["errors"] == []
    faults_found = {fault["errorId"] for fault in wire.send("Page.getInstallabilityErrors")["installabilityErrors"]}
    assert faults_found == {"in-incognito"}  # the test's own window; nothing else stands in the way
