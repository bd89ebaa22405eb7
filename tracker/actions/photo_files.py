"""The photo folder: files under random names, written whole or not at all."""

import os
import secrets
from pathlib import Path

from django.conf import settings


def folder() -> Path:
    """Return the photo folder, made where it is not there yet; only the service itself may look into it."""
    path = Path(settings.PHOTO_FOLDER)
    path.mkdir(parents=True, exist_ok=True, mode=0o700)
    return path


def write_photo(content: bytes, name: str = "") -> str:
    """Write a photo and return its name: 128 random bits, so that nobody can guess it, unless one is given."""
    name = name or f"{secrets.token_hex(16)}.jpg"
    target = folder() / name
    part = target.with_suffix(".part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return name


def read_photo(name: str) -> bytes | None:
    """Return a photo's file, or None where it is gone."""
    try:
        return (folder() / Path(name).name).read_bytes()
    except FileNotFoundError:
        return None


def remove_photo(name: str) -> None:
    """Remove a photo's file; one that is gone already is as good."""
    (folder() / Path(name).name).unlink(missing_ok=True)
