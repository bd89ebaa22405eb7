"""Published histories of repaired machines: repairs.json names the source of each; the numbers were typed off once."""

import json
from pathlib import Path

import numpy as np

from services.life_data.recurrence import Histories, histories

REPAIRS = json.loads((Path(__file__).parent / "repairs.json").read_text())


def valve_seats(start: tuple[float, ...] = (0.0,)) -> Histories:
    """The engines, watched from the starts in turn; replacements before the start are dropped."""
    sample = REPAIRS["valve_seats"]
    end, machine, age = (np.array(sample[name]) for name in ("end", "machine", "age"))
    begun = np.resize(start, len(end))
    seen = age > begun[machine]
    return histories(end, machine[seen], age[seen], begun)


def three_systems(start: tuple[float, ...] = (0.0,)) -> Histories:
    """Crow's systems over their 200 hours, watched from the starts in turn."""
    sample = REPAIRS["three_systems"]
    machine = np.repeat(np.arange(3), [len(ages) for ages in sample["ages"]])
    age = np.concatenate(sample["ages"])
    begun = np.resize(start, 3)
    seen = age > begun[machine]
    return histories(np.full(3, sample["end"]), machine[seen], age[seen], begun)


def one_system(name: str) -> Histories:
    """A single system with its end of watching."""
    sample = REPAIRS[name]
    return histories(sample["end"], np.zeros(len(sample["ages"]), dtype=int), sample["ages"])
