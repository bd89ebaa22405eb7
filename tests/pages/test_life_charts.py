"""Charts of the review: what is drawn is what was reckoned, read back from the drawing; and the table says the same."""

import math
import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from services.life_data.ladder import say_number
from tracker.pages.charts import LEFT, RIGHT, TOP, log_ticks, stepped
from tracker.pages.life_charts import (
    WATCHED_ROOM,
    Other,
    Steps,
    repairs_chart,
    say_share,
    survival_chart,
    thinned,
)
from tracker.pages.review_charts import Month, cost_chart, months_chart, range_bar
from tracker.pages.weibull_chart import Paper, height_of, weibull_chart

# Words of a chart that reach over its edge: for the browser, which knows how wide letters are.
LETTERS_OUTSIDE = """() => [...document.querySelectorAll('svg.chart')].filter(svg => svg.getBoundingClientRect().width)
  .flatMap(svg => [...svg.querySelectorAll('text')].map(one => [svg.id, one.textContent, one.getBBox()])
    .filter(([_, words, box]) => box.x < -1 || box.x + box.width > svg.viewBox.baseVal.width + 1
      || box.y + box.height > svg.viewBox.baseVal.height + 2).map(([_, words, box]) => [words, box.x, box.y]))"""
# Five parts, failed at 100 and 300, the others still good at 200, 400 and 500: Kaplan-Meier by hand.
CURVE = Steps([100.0, 300.0], [0.8, 0.8 * 2 / 3], [0.5, 0.2], [0.95, 0.8], [5, 3], until=500.0)
SURVIVORS = [200.0, 400.0, 500.0]
WATCHED = [(0.0, 5), (250.0, 3), (500.0, 1)]


def drawings(chart) -> list[ET.Element]:
    return [ET.fromstring(svg) for svg in re.findall(r"<svg.*?</svg>", chart.drawing)]


def paths(svg: ET.Element, css: str) -> list[str]:
    return [path.get("d") for path in svg.findall("path") if path.get("class") == css]


def corners(path: str) -> list[tuple[float, float]]:
    return [tuple(map(float, point)) for point in re.findall(r"[ML](\S+) (\S+)", path)]


def survival(**values):
    return survival_chart(CURVE, "km", SURVIVORS, WATCHED, **values)


def test_steps_go_level_and_then_down_and_end_where_they_are_known_to():
    assert stepped([1, 3], [0.5, 0.2], (0, 1), 4) == ([0, 1, 1, 3, 3, 4], [1, 1, 0.5, 0.5, 0.2, 0.2])
    assert stepped([], [], (0, 1), 4) == ([0, 4], [1, 1])


@pytest.mark.parametrize("place", [0, 1])
def test_the_survival_curve_is_drawn_at_its_ages_and_shares(place):
    svg = drawings(survival())[place]
    width, height = float(svg.get("width")), float(svg.get("height"))
    foot = height - WATCHED_ROOM
    drawn = corners(paths(svg, "known")[0])
    across = [(x - LEFT) / (width - LEFT - RIGHT) * 500 for x, _ in drawn]
    up = [(foot - y) / (foot - TOP) for _, y in drawn]
    assert across == pytest.approx([0, 100, 100, 300, 300, 500], abs=0.2)
    assert up == pytest.approx([1, 1, 0.8, 0.8, 0.5333, 0.5333], abs=0.001)
    assert paths(svg, "rug")[0].count("M") == len(SURVIVORS)
    assert len(corners(paths(svg, "band")[0])) == 12


def test_how_many_are_under_watch_stands_below_the_ages():
    svg = drawings(survival())[0]
    words = [text.text for text in svg.findall("text")]
    assert words[words.index("still under watch:") + 1 :] == ["5", "3", "1"]
    assert words[words.index("still under watch:") - 1] == "km of its life"


def test_numbers_below_never_touch():
    near = [(float(age), 1000) for age in range(0, 500, 5)]
    svg = drawings(survival_chart(CURVE, "km", [], near))[1]
    at = [float(text.get("x")) for text in svg.findall("text") if text.text == "1,000"]
    assert 3 < len(at) < 10
    assert min(right - left for left, right in pairwise(at)) > 5 * 7.2


def test_a_curve_stops_where_too_few_are_under_watch():
    short = Steps(CURVE.age, CURVE.value, CURVE.low, CURVE.high, CURVE.watched, until=250.0)
    chart = survival_chart(short, "km", SURVIVORS, WATCHED)
    assert len(chart.rows) == 1
    assert chart.told == "At 250 km 80 % are still good (between 50 % and 95 %)."
    assert max(x for x, _ in corners(paths(drawings(chart)[0], "known")[0])) < LEFT + (880 - LEFT - RIGHT) / 2 + 1


def test_the_table_says_what_is_drawn_and_the_key_names_every_line():
    chart = survival(fitted=[(1.0, 1.0), (500.0, 0.4)], other=Other("batch K24", [150.0], [0.5], 200.0))
    assert chart.rows == [
        ["100 km", "5", "80 %", "50 % to 95 %"], ["300 km", "3", "53 %", "20 % to 80 %"],
    ]  # fmt: skip
    assert chart.labelled[0][1] == ("Under watch", "5")
    assert [words for _, words in chart.key][-2:] == ["fitted life", "batch K24"]
    for svg in drawings(chart):
        assert svg.find("title").text == "Share still good by age"
        assert svg.find("desc").text == chart.told
        assert [len(paths(svg, css)) for css in ("known", "fitted", "other")] == [1, 1, 1]


def test_another_curve_never_leaves_the_plane():
    chart = survival(other=Other("batch K24", [150.0, 4000.0], [0.5, 0.3], 9000.0))
    for svg in drawings(chart):
        assert max(x for x, _ in corners(paths(svg, "other")[0])) <= float(svg.get("width")) - RIGHT


def test_two_drawings_share_no_id():
    ids = re.findall(r' id="([^"]+)"', survival().drawing)
    assert len(ids) == len(set(ids)) == 4


def test_before_any_failure_nothing_is_claimed():
    chart = survival_chart(Steps([], [], [], [], [], until=0.0), "km", SURVIVORS, WATCHED)
    assert chart.told == "No part has failed at an age where enough are under watch."
    assert chart.rows == []


def test_repairs_begin_at_none_and_rise():
    curve = Steps([50.0, 80.0], [0.1, 0.25], [0.02, 0.1], [0.4, 0.6], [10, 8], until=80.0)
    chart = repairs_chart(curve, "days", "They come more and more often.")
    ups = [y for _, y in corners(paths(drawings(chart)[0], "known")[0])]
    assert ups == sorted(ups, reverse=True)
    assert chart.told == "By 80 days a trike had 0.25 repairs of it on average. They come more and more often."
    assert chart.rows[1] == ["80 days", "8", "0.25", "0.1 to 0.6"]


def test_a_weibull_life_is_a_straight_line_on_its_paper():
    shares = [0.02, 0.1, 0.3, 0.632]
    paper = Paper([], 2.0, 1000.0, [(share, 1.0, math.inf) for share in shares])
    points = [(paper.age_at(share), share) for share in shares]
    paper = Paper(points, 2.0, 1000.0, [(0.1, 250.0, 400.0), (0.5, 700.0, 950.0), (0.9, 1.0, math.inf)])
    svg = drawings(weibull_chart(paper, "km"))[0]
    (x0, y0), (x1, y1) = corners(paths(svg, "fitted")[0])
    for dot in svg.findall("circle"):
        x, y = float(dot.get("cx")), float(dot.get("cy"))
        assert y == pytest.approx(y0 + (x - x0) * (y1 - y0) / (x1 - x0), abs=0.3)
    assert len(svg.findall("circle")) == 4
    assert len(paths(svg, "error")) == 2
    assert height_of(1 - math.exp(-1)) == pytest.approx(0.0)
    # B10 of shape 2 and life 1,000 is 1,000 x sqrt(-ln 0.9) = 324.6, by hand; a limit that nothing bounds is not told
    assert weibull_chart(paper, "km").rows == [
        ["10 %", "320 km", "250 to 400 km"], ["50 %", "830 km", "700 to 950 km"],
    ]  # fmt: skip


def test_the_cost_is_told_beside_running_to_failure_with_its_flat_region():
    costs = [(float(age), 0.6 + (age - 500) ** 2 / 1e6) for age in range(50, 1500, 50)]
    chart = cost_chart(costs, 500.0, (280.0, 720.0), 0.4, "km")
    assert "Least at about 500 km: 40 % below running to failure" in chart.told
    assert "from 280 to 720 km costs about the same" in chart.told
    assert len(chart.rows) == len(costs)
    svg = drawings(chart)[0]
    flat = next(rect for rect in svg.findall("rect") if rect.get("class") == "flat")
    assert float(flat.get("width")) == pytest.approx(440 / 1450 * (880 - LEFT - RIGHT), abs=0.3)


MONTHS = [
    Month("Mar 26", 2, 1.2, 0, 4),
    Month("Apr 26", 7, 1.2, 0, 4, alarmed=True),
    Month("May 26", 1, 1.2, 0, 4, complete=False),
]


def test_months_stand_as_bars_beside_what_was_expected():
    chart = months_chart(MONTHS)
    svg = drawings(chart)[0]
    heights = {rect.get("class"): float(rect.get("height")) for rect in svg.findall("rect")}
    tall = [float(rect.get("height")) for rect in svg.findall("rect")]
    assert tall[1] / tall[0] == pytest.approx(3.5, abs=0.02)
    assert "column open" in heights
    assert chart.told == "10 failures in 3 months. More than expected in Apr 26."
    assert chart.rows[1] == ["Apr 26", "7", "1.2 (0 to 4)", "more than expected"]
    assert chart.rows[2][0] == "May 26, not over"
    assert [text.text for text in svg.findall("text")].count("!") == 1


def test_a_month_without_an_expectation_says_so():
    chart = months_chart([Month("May 26", 0)])
    assert chart.rows == [["May 26", "0", "not known", ""]]
    assert [css for css, _ in chart.key] == ["column"]


def test_a_range_bar_has_its_peers_in_the_middle_and_doubles_by_equal_steps():
    svg = ET.fromstring(range_bar(4.0, 1.0, 100.0, "4 times its peers"))
    rect = svg.find("rect")
    middle = float(svg.get("width")) / 2
    assert float(rect.get("x")) == pytest.approx(middle, abs=0.1)
    assert float(rect.get("x")) + float(rect.get("width")) == pytest.approx(148, abs=0.1)  # beyond the edge: cut there
    assert svg.get("aria-label") == "4 times its peers"
    rate = next(path for path in svg.findall("path") if path.get("class") == "rate").get("d")
    assert float(rate[1:].split()[0]) + 5 == pytest.approx(middle + 146 / 4, abs=0.1)
    none = ET.fromstring(range_bar(0.0, 0.0, 0.5, "none failed"))
    assert [path.get("class") for path in none.findall("path")] == ["base", "usual"]


def test_round_numbers_of_a_stretched_axis():
    assert [words for _, words in log_ticks(120, 2500)] == ["200", "500", "1,000", "2,000"]
    assert log_ticks(120, 2500)[0][0] == pytest.approx(math.log(200))


def test_numbers_are_written_with_the_digits_that_are_known():
    assert [say_number(value) for value in (2745.3, 97.2, 5.149, 0.123, 0.0)] == ["2,700", "97", "5.1", "0.12", "0"]
    assert [say_share(share) for share in (1.0, 0.996, 0.5, 0.013)] == ["100 %", "99.6 %", "50 %", "1.3 %"]


def test_a_long_table_keeps_its_first_and_last_row():
    rows = [[str(number)] for number in range(200)]
    kept = thinned(rows)
    assert (kept[0], kept[-1]) == (["0"], ["199"])
    assert len(kept) <= 61
