"""What a bulletin asks for as a task of the due list: its code tells number, bench minutes and whether safety hangs on it.

A released bulletin never changes, so the code says all that planning needs, and nobody has to look the bulletin up.
"""

import re

from services.kinds.model import Task

_CODE = re.compile(r"bulletin:(B-\d{4}-\d{3,6}):(\d{1,4})(:safety)?")


def code_of(number: str, minutes: int, safety: bool) -> str:
    """Return the task code of a bulletin, as 'bulletin:B-2026-001:30' or 'bulletin:B-2026-001:30:safety'."""
    return f"bulletin:{number}:{minutes}{':safety' if safety else ''}"


def number_of(code: str) -> str:
    """Return the number of the bulletin whose task this is; '' for any other task."""
    found = _CODE.fullmatch(code)
    return found[1] if found else ""


def task_of(code: str) -> Task | None:
    """Return the task a bulletin's code stands for, or None. Where safety hangs on it, it wants a release afterwards."""
    found = _CODE.fullmatch(code)
    if found is None:
        return None
    return Task(
        code=code, title=f"Bulletin {found[1]}", on="", minutes=int(found[2]), safety=bool(found[3]), verb="Done",
        plain="The workshop checks a part that a bulletin names, and puts it right.", release=bool(found[3]),
    )  # fmt: skip
