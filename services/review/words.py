"""How the review speaks: plural nouns of the trade, what failed in the past tense, groups as people say them."""

from services.failures import MODES
from services.parts import PART_KINDS

_FAILED = {
    "leakage": "leaked", "wear": "wore out", "breakage": "broke", "crack": "cracked", "looseness": "came loose",
    "deformation": "bent or went out of true", "sticking": "stuck", "noise": "became noisy", "corrosion": "corroded",
    "overheating": "ran too hot", "no_function": "stopped working", "intermittent": "worked now and then",
    "low_output": "became weak", "software": "had software faults",
}  # fmt: skip
_OTHERS = {
    "batch": "the other batches", "firmware": "the other versions", "made_year": "those of other years",
    "model": "those on other models", "severity": "those ridden otherwise", "part_type": "its sister parts",
    "maker": "those of other makers",
}  # fmt: skip
DIMENSION_TITLES = {
    "batch": "batch", "firmware": "firmware", "made_year": "year made", "model": "trike model",
    "severity": "kind of riding", "part_type": "part type", "maker": "maker",
}  # fmt: skip


def plural(noun: str) -> str:
    """Return the plural of a kind's title: batteries, chains, seat meshes; what is one already stays."""
    if noun.endswith("s"):
        return noun
    if noun.endswith("y") and noun[-2] not in "aeiou":
        return f"{noun[:-1]}ies"
    return f"{noun}es" if noun.endswith(("sh", "ch", "x")) else f"{noun}s"


def parts_word(kind: str) -> str:
    """Return what pieces of a kind are called together."""
    return plural(PART_KINDS[kind].title) if kind in PART_KINDS else "parts"


def failed_word(mode: str) -> str:
    """Return how parts failed, in the past tense; 'failed' where they did so in several ways."""
    return _FAILED.get(mode, "failed")


def mode_word(mode: str) -> str:
    """Return a mode as the job card names it."""
    return MODES.get(mode, mode)


def group_words(dimension: str, group: str, kind: str) -> str:
    """Return a group as a noun phrase: 'air shocks of batch K', 'displays with firmware 2.1'."""
    parts = parts_word(kind)
    return {
        "batch": f"{parts} of batch {group}", "firmware": f"{parts} with firmware {group}",
        "made_year": f"{parts} made in {group}", "model": f"{parts} on the {group}", "severity": f"{parts} ridden {group}",
        "part_type": f"{group}", "maker": f"{parts} by {group}",
    }[dimension]  # fmt: skip


def others_words(dimension: str) -> str:
    """Return who a group is compared with."""
    return _OTHERS[dimension]
