"""Files from outside, read in a process of their own with limited memory and time: a hostile file harms only the child.

The parent names a module, the child runs it. What comes back is JSON: what was read, or what the file was refused for.
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from services.errors import Refusal
from services.language import localised, say

ROOT = Path(__file__).resolve().parent.parent
KEPT = ("PATH", "HOME", "LANG", "SYSTEMROOT")  # no secret, no address of a database


class FileRefused(Refusal):
    """The whole file cannot be read. Nothing of it was looked at."""

    code = "refused-file"
    status = "invalid"


class EmptyFile(FileRefused):
    """The file has no bytes, or a table no row below its header."""

    code = "empty-file"


class FileTooLarge(FileRefused):
    """More bytes, rows or points than the limit, or more work than the file is worth."""

    code = "file-too-large"


@dataclass(frozen=True)
class Limits:
    """What a child may take: memory in bytes, seconds of work, seconds by the clock on the wall."""

    memory_bytes: int
    cpu_seconds: int
    wall_seconds: float


def say_bytes(count: int) -> str:
    """Return a number of bytes in MB, as messages name it."""
    return f"{localised(f'{count / 1024**2:.1f}'.removesuffix('.0'))} MB"


def check_size(content: bytes, most: int, *, if_empty: str, if_large: str) -> None:
    """Refuse a file of no bytes or more than `most`; both remedies are the caller's. Raises: EmptyFile, FileTooLarge."""
    if not content.strip():
        raise EmptyFile(say("The file is empty."), field="file", remedy=if_empty)
    if len(content) > most:
        raise FileTooLarge(
            say("The file has {size}; the limit is {most}.", size=say_bytes(len(content)), most=say_bytes(most)),
            field="file",
            remedy=if_large,
        )


def read_in_child(
    module: str, content: bytes, limits: Limits, *arguments: str, kinds: Sequence[type[Refusal]], if_large: str
) -> Any:  # fmt: skip
    """Return what `module`, run as a child, read in `content`. It calls answer_parent with the same limits.

    `kinds`: which refusals it may send back, each with those derived from it. Raises these; FileTooLarge (remedy `if_large`)
    when the child runs out of memory or time or breaks down.
    """
    environment = {name: os.environ[name] for name in KEPT if name in os.environ} | {"OPENBLAS_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            [sys.executable, "-m", module, *arguments], input=content, capture_output=True, cwd=ROOT, env=environment,
            timeout=limits.wall_seconds, check=True,
        )  # fmt: skip
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
        raise FileTooLarge(
            say("The file could not be read within {megabytes:,} MB of memory and {seconds} s.",
                megabytes=limits.memory_bytes // 1024**2, seconds=limits.cpu_seconds),
            field="file", remedy=if_large,
        ) from None  # fmt: skip
    answer = json.loads(done.stdout)
    if told := answer.get("refused"):
        known = {kind.__name__: kind for parent in kinds for kind in (parent, *parent.__subclasses__())}
        raise known[told["kind"]](told["message"], field=told["field"], remedy=told["remedy"])
    return answer["read"]


def answer_parent(limits: Limits, read: Callable[[bytes], Any]) -> None:
    """In the child: limit this process, `read` what came in and send back the JSON value it returns, or its refusal."""
    _limit_this_process(limits)
    try:
        answer = {"read": read(sys.stdin.buffer.read())}
    except Refusal as refusal:
        told = {
            "kind": type(refusal).__name__,
            "message": refusal.message,
            "field": refusal.field,
            "remedy": refusal.remedy,
        }
        answer = {"refused": told}
    json.dump(answer, sys.stdout)


def _limit_this_process(limits: Limits) -> None:
    try:
        import resource
    except ImportError:  # not on every system; the wall clock still limits
        return
    resource.setrlimit(resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_seconds, limits.cpu_seconds))
