"""The README's first line, as a real process tree on a folder of its own."""

import json
import os
import re
import signal
import sqlite3
import subprocess
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.mail_server import free_port
from tests.processes import Workshop

# Seconds that a start may take. They are counted in processor time of all its processes until it says that it is
# ready: one of them works at a time, and other tests that share the machine must not fail this one.
READY_WITHIN = 90.0
AGAIN_WITHIN = 5.0


class Demo:
    """A demo that runs: its process, what it has said so far, when it was ready."""

    def __init__(self, workshop: Workshop, port: int, said: Path) -> None:
        self.port, self.said = port, said
        self.begun = time.monotonic()
        with said.open("w") as page:
            self.process = subprocess.Popen(
                workshop.start_command("manage.py", "demo", "--port", str(port)),
                cwd=workshop.root, env=workshop.environment, stdout=page, stderr=subprocess.STDOUT,
            )  # fmt: skip

    def wait_until_ready(self) -> float:
        """Return the processor seconds that the demo and its children took."""
        while "Ready: " not in self.said.read_text():
            assert self.process.poll() is None, self.said.read_text()
            assert time.monotonic() - self.begun < 6 * READY_WITHIN, self.said.read_text()
            time.sleep(0.1)
        return sum(map(processor_seconds, [self.process.pid, *self.descendants()]))

    def children(self) -> list[int]:
        return children_of(self.process.pid)

    def descendants(self) -> list[int]:
        return [pid for child in self.children() for pid in (child, *children_of(child))]

    def stop(self, number: int) -> int:
        self.process.send_signal(number)
        return self.process.wait(timeout=30)


def children_of(pid: int) -> list[int]:
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def processor_seconds(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")  # user and system, own and of children that ended


def alive(pid: int) -> bool:
    state = Path(f"/proc/{pid}/stat")
    return state.exists() and state.read_text().rsplit(")", 1)[1].split()[0] != "Z"


@pytest.fixture(scope="module")
def workshop(tmp_path_factory) -> Workshop:
    workshop = Workshop(tmp_path_factory.mktemp("demo"), QUIET_FROM_HOUR="24", QUIET_UNTIL_HOUR="0", SMTP_HOST="")
    workshop.environment.pop("DATABASE_URL", None)
    return workshop


@pytest.fixture(scope="module")
def first(workshop):
    demo = Demo(workshop, free_port(), workshop.folder / "first.txt")
    yield demo
    demo.process.kill()
    demo.process.wait()


@pytest.fixture(scope="module")
def ready(first) -> float:
    return first.wait_until_ready()


def asked(demo: Demo, path: str) -> tuple[int, bytes]:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{demo.port}{path}", timeout=20) as response:
            return response.status, response.read()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read()


def rows(workshop: Workshop, table: str) -> int:
    with sqlite3.connect(workshop.folder / "tracker.sqlite3") as database:
        count = database.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0]
    database.close()
    return count


def test_the_first_start_is_ready_in_time_with_the_whole_workshop(workshop, ready):
    assert ready < READY_WITHIN
    assert rows(workshop, "tracker_trike") >= 200
    assert rows(workshop, "tracker_outboxmessage") > 0


def test_it_shows_its_progress_its_address_and_the_logins(first, ready):
    said = first.said.read_text()
    assert f"http://127.0.0.1:{first.port}" in said
    for words in ("Workshop's files", "First sweep", "desk-demo-2026", "mechanic2", "Ctrl-C"):
        assert words in said


def test_pages_answer_and_the_watchdog_is_content(first, ready):
    assert asked(first, "/login/")[0] == 200
    told = json.loads(asked(first, "/readyz")[1])
    assert told["status"] == "ok", told


def test_reminders_lie_in_the_mail_folder_with_links_that_open(workshop, first, ready):
    end = time.monotonic() + 60
    while not (letters := list((workshop.folder / "mail").glob("*.eml"))):
        assert time.monotonic() < end, "no letter within a minute"
        time.sleep(0.2)
    text = letters[0].read_text().replace("=\n", "").replace("=3D", "=")
    link = re.search(rf"http://127\.0\.0\.1:{first.port}(/o/[\w-]{{43}})\b", text).group(1)
    assert asked_with_cookies(first, link) == 200


def asked_with_cookies(demo: Demo, path: str) -> int:
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    with opener.open(f"http://127.0.0.1:{demo.port}{path}", timeout=20) as response:
        return response.status


def test_a_taken_port_is_named_with_a_way_out(workshop, first, ready):
    second = workshop.start("manage.py", "demo", "--port", str(first.port))
    said = second.communicate(timeout=60)[0]
    assert second.returncode == 1
    assert f"Port {first.port} is taken. Choose another: manage.py demo --port {first.port + 1}" in said


def test_ctrl_c_stops_the_whole_tree(first, ready):
    children = first.children()
    assert len(children) == 2
    assert first.stop(signal.SIGINT) == 0
    assert not any(map(alive, children))


def test_a_second_start_is_quick_brings_nothing_in_again_and_ends_on_sigterm(workshop, first, ready):
    assert first.process.poll() is not None, "runs after the first was stopped"
    before = rows(workshop, "tracker_logentry")
    took = []
    while len(took) < 3 and min(took, default=AGAIN_WITHIN) >= AGAIN_WITHIN:  # tests beside it slow the processor too
        took.append(start_again(workshop))
    assert min(took) < AGAIN_WITHIN, took
    assert rows(workshop, "tracker_logentry") == before


def start_again(workshop) -> float:
    """Start the demo that is there, stop it whole; return the processor seconds until it was ready."""
    again = Demo(workshop, free_port(), workshop.folder / "again.txt")
    try:
        took = again.wait_until_ready()
        children = again.children()
        assert again.stop(signal.SIGTERM) == 0
    finally:
        again.process.kill()
        again.process.wait()
    assert not any(map(alive, children))
    assert "Workshop's files" not in again.said.read_text()
    return took


def test_data_of_another_day_comes_with_the_way_to_fresh_data(workshop, ready):
    marker = workshop.folder / "demo.json"
    day = (datetime.now(UTC) - timedelta(days=3)).date().isoformat()
    marker.write_text(json.dumps({"state": "ready", "day": day}))
    said = workshop.run("manage.py", "demo", "--no-serve")
    assert f"The demo's data is of {day}" in said
    assert "--reset" in said


def test_the_demo_keeps_its_hands_off_a_record_that_is_not_its_own(workshop, ready):
    (workshop.folder / "demo.json").unlink()
    before = rows(workshop, "tracker_trike")
    for options in ([], ["--reset"]):
        process = workshop.start("manage.py", "demo", "--no-serve", *options)
        assert "holds a record that is not the demo's" in process.communicate(timeout=60)[0]
        assert process.returncode == 1
    assert rows(workshop, "tracker_trike") == before


def test_the_demos_public_logins_never_enter_another_database(tmp_path):
    other = Workshop(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path / 'real.sqlite3'}")
    process = other.start("manage.py", "demo", "--no-serve")
    assert "start it without DATABASE_URL" in process.communicate(timeout=60)[0]
    assert process.returncode == 1
    assert not (tmp_path / "real.sqlite3").exists()
