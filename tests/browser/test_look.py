"""The trike page in a real browser: the drawing in every state, by keyboard, on a phone and on paper; the logbook's pages."""

from datetime import timedelta
from itertools import pairwise

import pytest
from django.utils import timezone

from services.positions import POSITIONS
from tests import factories as make
from tests.browser.conftest import SHOTS
from tests.browser.looking import WIDTHS, look
from tests.browser.test_accessibility import faults
from tests.pages.conftest import due
from tracker.actions.usage import record_reading
from tracker.models import JobCard, Trike

VISIBLE = "svg.plan:visible a.call"
# Words that reach over the edge of the drawing, with how far (px of the drawing).
OUTSIDE = """() => [...document.querySelectorAll('svg.plan')].filter(svg => svg.getBoundingClientRect().width).flatMap(svg =>
  [...svg.querySelectorAll('text')].filter(one => one.textContent.length > 1).map(one => [one.textContent, one.getBBox()])
    .filter(([_, box]) => box.x < -1 || box.x + box.width > svg.viewBox.baseVal.width + 1)
    .map(([words, box]) => [words, box.x, box.x + box.width]))"""
# The same fonts everywhere would be needed to hold this to the pixel: one px of slack.


@pytest.fixture
def trike(transactional_db) -> Trike:
    """A trike with a part in most places, in every state, measured and logged."""
    now = timezone.now()
    row = make.TrikeFactory(frame_serial="F26-1040", plate="LT-310", delivered_on=(now - timedelta(days=700)).date())
    make.OwnershipFactory(trike=row, owner=make.OwnerFactory(name="Zoë Ångström"), since=row.delivered_on)
    for number, days in enumerate((600, 400, 200, 60)):
        record_reading(trike_id=row.pk, value=900 * (number + 1), read_at=now - timedelta(days=days), now=now)
    left_out = {"brake-rear", "rack", "charger", "seat", "lights"}
    for number, (code, place) in enumerate((c, p) for c, p in POSITIONS.items() if c not in left_out):
        part = make.ComponentFactory(part_type__kind=place.part_kinds[0], serial=f"S-{number:04d}", state="fitted")
        make.FitmentFactory(component=part, trike=row, position=code, fitted_at=now - timedelta(days=700))
        on = {0: now - timedelta(days=20), 1: now, 2: now + timedelta(days=9)}.get(
            number % 5, now + timedelta(days=300)
        )
        due(row, part, due_on=on.date(), early_on=(on - timedelta(days=14)).date())
        measure(row, part, code, number, now)
    return row


def measure(row: Trike, part, code: str, number: int, now) -> None:
    quantity, level = {"chain": ("chain_elongation_pct", "soon"), "battery": ("battery_capacity_wh", "ok"),
                       "kingpin-left": ("pad_mm", "watch"), "wheel-rear": ("pad_mm", "watch")}.get(code, ("", ""))  # fmt: skip
    if quantity:
        for step in range(5):
            at = now - timedelta(days=60 * (5 - step))
            card = make.JobCardFactory(trike=row, number=f"J26-{number:02d}{step:03d}", worked_at=at)
            value = {"chain_elongation_pct": 0.1 + 0.12 * step, "pad_mm": 2.2 - 0.2 * step}.get(
                quantity, 490.0 - 9 * step
            )
            make.MeasurementFactory(
                card=card,
                component=part,
                quantity=quantity,
                value=value,
                taken_at=at,
                level=level if step == 4 else "ok",
            )
            JobCard.objects.filter(pk=card.pk).update(state="signed", signed_at=at, signed_by=make.UserFactory())


def test_the_trike_page_at_three_widths_and_on_paper(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/")
    look(desk, "trike")
    for width in WIDTHS:
        desk.set_viewport_size({"width": width, "height": 900})
        assert desk.evaluate(OUTSIDE) == []
        assert faults(desk) == []
        desk.locator("#drawing").screenshot(path=SHOTS / f"drawing-{width}.png")
    desk.emulate_media(media="print")
    desk.set_viewport_size({"width": 720, "height": 1040})  # A4 within its margins, at 96 px an inch
    desk.screenshot(path=SHOTS / "trike-paper.png", full_page=True)
    assert not desk.locator("nav.rail, .buttons, form.filters").filter(visible=True).count()
    assert desk.locator("svg.plan.wide").is_visible()
    assert not desk.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
    desk.pdf(path=SHOTS / "trike.pdf", format="A4")


def test_the_dark_drawing_keeps_its_contrast(desk, trike):
    desk.emulate_media(color_scheme="dark")
    desk.goto(f"/trikes/{trike.pk}/")
    assert faults(desk) == []
    desk.locator("#drawing").screenshot(path=SHOTS / "drawing-dark.png")


def test_the_parts_are_walked_by_keyboard_down_the_left_and_down_the_right(desk, trike):
    for width in (1280, 390):
        desk.set_viewport_size({"width": width, "height": 900})
        desk.goto(f"/trikes/{trike.pk}/")
        names = desk.locator(VISIBLE).evaluate_all("all => all.map(one => one.getAttribute('aria-label'))")
        assert len(names) == 30
        assert any(name == "Frame: overdue since " + name.partition("since ")[2] for name in names)
        desk.locator(VISIBLE).first.focus()
        walked = []
        for _ in names:
            walked.append(desk.evaluate("document.activeElement.getAttribute('aria-label')"))
            desk.keyboard.press("Tab")
        assert walked == names
    desk.locator(VISIBLE).nth(3).focus()
    desk.keyboard.press("Shift+Tab")
    desk.locator("#drawing").screenshot(path=SHOTS / "drawing-focus.png")


def test_every_part_is_large_enough_for_a_finger_and_none_lies_over_another(desk, trike):
    for width in (820, 390, 360):
        desk.set_viewport_size({"width": width, "height": 900})
        desk.goto(f"/trikes/{trike.pk}/")
        boxes = desk.locator("svg.plan:visible a.call .target").evaluate_all(
            "all => all.map(one => one.getBoundingClientRect()).map(box => [box.left, box.top, box.width, box.height])"
        )
        assert min(min(box[2:]) for box in boxes) >= 44
        for (left, top, _, height), (next_left, next_top, *_) in pairwise(boxes):
            assert next_left != left or next_top >= top + height - 0.2  # they are placed to a tenth of a px


def test_a_part_leads_to_its_row(desk, trike):
    desk.set_viewport_size({"width": 390, "height": 900})
    desk.goto(f"/trikes/{trike.pk}/")
    desk.locator(f"{VISIBLE}[href='#part-chain']").focus()
    desk.keyboard.press("Enter")
    desk.wait_for_url("**#part-chain")
    assert desk.locator("#part-chain").evaluate("row => row.matches(':target')")


def test_the_logbook_is_narrowed_verified_and_followed_to_a_component(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/")
    desk.select_option("#log_kind", "reading")
    desk.fill("#log_words", "1,800")
    desk.press("#log_words", "Enter")
    desk.wait_for_url("**kind=reading**#history")
    assert desk.locator("#history tbody tr").count() == 1
    look(desk, "trike-log")
    desk.click("text=Verify the logbook >> visible=true")
    assert "It holds" in desk.inner_text("main")
    look(desk, "verify-logbook")
    assert faults(desk) == []
    desk.fill("#id_trike", "nowhere")
    desk.press("#id_trike", "Enter")
    assert "No trike has the frame serial NOWHERE" in desk.inner_text(".field .refused")
    assert desk.input_value("#id_trike") == "nowhere"
    look(desk, "verify-logbook-refused")
    part = trike.fitments.get(position="chain").component
    desk.goto(f"/components/{part.pk}/")
    desk.click("text=Its whole logbook")
    assert desk.url.endswith("/log/")
    look(desk, "component-log")
    assert faults(desk) == []


def test_the_buttons_under_more_open_by_keyboard(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/")
    desk.focus(".ways > summary")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("text=Report a crash")
    assert faults(desk) == []
    look(desk, "trike-more")
