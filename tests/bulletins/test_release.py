"""Written by one, released by another: what is matched comes under the bulletin, is due, and stands in the logbook."""

from datetime import date

import pytest

from services.errors import Refusal
from tests.bulletins.conftest import NOW, danger, draft, on_a_trike, released, says
from tests.factories import ComponentFactory
from tracker.actions.bulletins import release_bulletin, write_bulletin
from tracker.models import BulletinPart, BulletinStep, DueLine, LogEntry
from tracker.queries.due import describe, rebuild_differences

pytestmark = pytest.mark.django_db


def refused(code, call, **arguments):
    with pytest.raises(Refusal) as told:
        call(**arguments)
    assert told.value.code == code, told.value
    return told.value


def test_a_draft_touches_nothing(shock, writer):
    on_a_trike(shock, "S1", batch="K-17")
    row = draft(says(shock), writer)
    assert (row.number, row.state) == ("B-2026-001", "draft")
    assert not BulletinPart.objects.exists()
    assert not DueLine.objects.filter(task__startswith="bulletin").exists()


def test_released_it_brings_its_parts_due_lines_and_log_entries(shock, writer, second):
    part = on_a_trike(shock, "S1", batch="k-17 ")
    unknown = on_a_trike(shock, "S2", batch="")
    ComponentFactory(part_type=shock, serial="S3", batch="L-02")
    row = released(says(shock), writer, second)
    found = dict(BulletinPart.objects.values_list("component_id", "certainty"))
    assert found == {part.pk: "affected", unknown.pk: "cannot_exclude"}
    line = DueLine.objects.get(component=part, task__startswith="bulletin")
    assert line.due_on == date(2026, 5, 31)  # mandatory without a day of its own: thirty days
    assert line.early_on == date(2026, 5, 1)
    assert describe(line, date(2026, 5, 2)) == (
        "Bulletin B-2026-001: Air shock may leak (mandatory); due 31 May 2026."
    )  # fmt: skip
    entry = LogEntry.objects.get(component=part)
    assert entry.body == {"bulletin": row.number, "before": "", "after": "affected"}
    assert BulletinStep.objects.count() == 2
    assert rebuild_differences() == []


def test_who_wrote_it_does_not_release_it(shock, writer):
    row = draft(says(shock), writer)
    refused("same-signer", release_bulletin, bulletin_id=row.pk, version=row.version, by=writer, now=NOW)


def test_softening_words_are_read_before_a_hazard_goes_out(shock, writer, second):
    row = draft(danger(shock, hazard="In rare cases the shock can burst."), writer)
    told = refused("warnings-not-read", release_bulletin, bulletin_id=row.pk, version=row.version, by=second, now=NOW)
    assert "rare" in str(told)
    assert release_bulletin(
        bulletin_id=row.pk, version=row.version, warnings_read=True, by=second, now=NOW
    ).state == "released"  # fmt: skip


def test_what_was_released_is_not_changed(shock, writer, second):
    row = released(says(shock), writer, second)
    refused(
        "wrong-state",
        write_bulletin,
        values={"title": "x"},
        bulletin_id=row.pk,
        version=row.version,
        by=writer,
        now=NOW,
    )
