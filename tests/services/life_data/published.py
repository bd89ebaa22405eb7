"""Lives and results printed elsewhere, each with its source beside it in published_lives.json."""

import json
from pathlib import Path

from services.life_data.lives import Lives, observed, of_mode

PUBLISHED = json.loads((Path(__file__).parent / "published_lives.json").read_text())


def lives_of(name: str, mode: int | None = None) -> Lives:
    """The published lives of this name, of one way of failing when asked."""
    row = {key: value for key, value in PUBLISHED["lives"][name].items() if key != "source"}
    lives = observed(**row)
    return lives if mode is None else of_mode(lives, mode)


def named(row: dict) -> str:
    """What pytest calls a row."""
    return f"{row['lives']}: {row['source']}"
