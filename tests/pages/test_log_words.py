"""The logbook in words."""

import pytest

from tests import factories as make
from tracker.pages.log_words import told

pytestmark = pytest.mark.django_db

SAID = [
    ("fitted", {"serial": "K1", "position": "chain", "card": "J26-00001"}, "Fitted: K1 at chain (J26-00001)"),
    (
        "removed",
        {"serial": "K1", "position": "chain", "fate": "in_stock", "reason": "worn"},
        "Taken off: K1 from chain, then in stock: worn",
    ),
    ("reading", {"value": "2150.500", "unit": "mi", "verdict": "suspect"}, "Reading: 2,150.5 mi, in doubt"),
    (
        "reading_decided",
        {"choice": "display_reset", "verdict": "accepted", "km": 40.0},
        "Reading decided: the display was reset: accepted, 40 km",
    ),
    (
        "display_change",
        {"old_final_km": None, "new_start_km": 0.0, "reason": "cracked"},
        "Display change: last value unknown, estimated; the new one began at 0 km (cracked)",
    ),
    (
        "display_change",
        {"old_final_km": 5480.0, "new_start_km": 0.0, "reason": ""},
        "Display change: last value 5,480 km; the new one began at 0 km",
    ),
    ("occurrence", {"kind": "crash"}, "Happened: crash or tip-over"),
    ("task_done", {"task": "chain_check", "via": "general_service"}, "Done: Chain check, as part of General service"),
    (
        "measured",
        {"quantity": "chain_elongation_pct", "value": 0.81, "level": "replace"},
        "Measured: Chain elongation 0.81 %, replace",
    ),
    ("failure", {"mode": "wear", "cause": "", "card": "J26-00001"}, "Failure: worn out (J26-00001)"),
    (
        "handover_built",
        {"checks": [["Brakes hold", True], ["Lights work", False]]},
        "Builder signed: final check of 2 items, failed: Lights work",
    ),
    (
        "job_card_signed",
        {"card": "J26-00001", "odometer_km": 2100.0, "correction": "New chain.", "deferred": ["chain_check"]},
        "Job card signed: J26-00001, odometer 2,100 km: New chain. Deferred: Chain check.",
    ),
    ("amendment", {"card": "J26-00001", "text": "Left, not right."}, "Amendment: J26-00001: Left, not right."),
    (
        "trike_changed",
        {"before": {"severity": 1.0, "plate": "LT-1"}, "after": {"severity": 0.75, "plate": None}},
        "Trike changed: how hard it is used 1 → 0.75, plate LT-1 → none",
    ),
    ("component_changed", {"serial": "K1", "before": {}, "after": ""}, "Component changed: serial K1"),
    ("something_new", {"what": "this", "why": None}, "Something new: what this"),
]


@pytest.mark.parametrize(("kind", "body", "words"), SAID)
def test_an_entry_is_told_in_words(kind, body, words):
    row = told(make.LogEntryFactory.build(trike=None, kind=kind, body=body))
    assert f"{row['kind']}: {row['words']}" == words


def test_an_entry_of_an_older_shape_is_told_as_it_stands():
    assert told(make.LogEntryFactory.build(trike=None, kind="fitted", body={"part": "K1"}))["words"] == "part K1"
