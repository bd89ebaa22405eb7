"""Charts: scales, ticks, paths; and the distance of a trike in picture and numbers."""

import xml.etree.ElementTree as ET
from datetime import timedelta

import pytest

from tests import factories as make
from tracker.queries.life import clocks_of
from tracker.queries.pictures import distance_picture

pytestmark = pytest.mark.django_db


def picture_of(trike, now):
    return distance_picture(clocks_of([trike.pk])[trike.pk], now)


def test_the_trike_page_shows_its_distance_with_range_doubts_and_display_in_picture_and_table(workshop, desk, now):
    trike = workshop.trike
    make.OdometerReadingFactory(trike=trike, value=2100, read_at=now - timedelta(days=60))
    make.OdometerReadingFactory(trike=trike, value=9000, read_at=now - timedelta(days=5), verdict="suspect")
    make.DisplayChangeFactory(trike=trike, changed_at=now - timedelta(days=30), old_final_km=2200.0, new_start_km=0.0)
    shown = desk.get(f"/trikes/{trike.pk}/").content.decode()
    section = shown[shown.index('<section class="panel" id="distance">') :]
    chart = ET.fromstring(section[section.index("<svg") : section.index("</svg>") + 6])
    assert len(chart.findall("circle")) == 2
    assert len([path for path in chart.findall("path") if path.get("class") == "cross"]) == 1
    assert "new display" in section
    assert "in doubt" in section
    assert section.count("<tr>") > 5
    assert "most likely" in chart.find("desc").text


def test_the_range_begins_at_the_last_reading_and_only_widens(workshop, now):
    picture = picture_of(workshop.trike, now)
    assert picture.ahead[0][1] == picture.ahead[0][3] == picture.line[-1][1]
    spans = [high - low for _, low, _, high in picture.ahead]
    assert spans == sorted(spans)
    assert all(low <= middle <= high for _, low, middle, high in picture.ahead)


def test_a_trike_that_begins_tomorrow_has_no_picture(now):
    trike = make.TrikeFactory(delivered_on=now.date() + timedelta(days=3))
    assert picture_of(trike, now) is None
