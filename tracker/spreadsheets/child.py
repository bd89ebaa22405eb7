"""Reads a workbook in a process of its own, with limited memory and time: a hostile file harms only the child."""

import json
import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path

from tracker.spreadsheets import refusals
from tracker.spreadsheets.limits import CHILD_CPU_SECONDS, CHILD_MEMORY_BYTES, CHILD_WALL_SECONDS
from tracker.spreadsheets.refusals import FileRefused, FileTooLarge
from tracker.spreadsheets.sheet import Broken, Cell, Formula, Sheet

ROOT = Path(__file__).resolve().parent.parent.parent
KEPT = ("PATH", "HOME", "LANG", "SYSTEMROOT")  # no secret, no address of a database
TAGS = {"formula": Formula, "broken": Broken, "date": datetime.fromisoformat}


def read_xlsx_in_child(content: bytes, titles: tuple[str, ...] = ()) -> Sheet:
    """Read a workbook as xlsx_file.read_xlsx does, in a child process.

    Raises: what read_xlsx raises; FileTooLarge when the child runs out of memory or time.
    """
    command = [sys.executable, "-m", "tracker.spreadsheets.child", *titles]
    environment = {name: os.environ[name] for name in KEPT if name in os.environ} | {"OPENBLAS_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            command,
            input=content,
            capture_output=True,
            cwd=ROOT,
            env=environment,
            timeout=CHILD_WALL_SECONDS,
            check=True,
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
        raise FileTooLarge(
            f"The workbook could not be read within {CHILD_MEMORY_BYTES // 1024**2:,} MB of memory "
            f"and {CHILD_CPU_SECONDS} s.",
            remedy="Split it into smaller files, or send it as CSV.",
        ) from None
    return _unpack(json.loads(done.stdout))


def _unpack(answer: dict) -> Sheet:
    if "refused" in answer:
        told = answer["refused"]
        raise getattr(refusals, told["kind"])(told["message"], remedy=told["remedy"])
    rows = tuple((number, tuple(_from_json(cell) for cell in cells)) for number, cells in answer["rows"])
    return Sheet(tuple(answer["header"]), rows, tuple(answer["notes"]))


def _from_json(cell) -> Cell:
    if not isinstance(cell, dict):
        return cell
    ((tag, text),) = cell.items()
    return TAGS[tag](text)


def _to_json(cell: Cell):
    if isinstance(cell, datetime):
        return {"date": cell.isoformat()}
    if isinstance(cell, Formula):
        return {"formula": cell.text}
    if isinstance(cell, Broken):
        return {"broken": cell.text}
    return cell


def _limit_this_process() -> None:
    try:
        import resource
    except ImportError:  # not on every system; the wall clock still limits
        return
    resource.setrlimit(resource.RLIMIT_AS, (CHILD_MEMORY_BYTES, CHILD_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CHILD_CPU_SECONDS, CHILD_CPU_SECONDS))


def _main() -> None:
    _limit_this_process()
    from tracker.spreadsheets.xlsx_file import read_xlsx

    try:
        sheet = read_xlsx(sys.stdin.buffer.read(), sys.argv[1:])
    except FileRefused as refusal:
        told = {"kind": type(refusal).__name__, "message": refusal.message, "remedy": refusal.remedy}
        answer = {"refused": told}
    else:
        rows = [(number, [_to_json(cell) for cell in cells]) for number, cells in sheet.rows]
        answer = {"header": sheet.header, "rows": rows, "notes": sheet.notes}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    _main()
