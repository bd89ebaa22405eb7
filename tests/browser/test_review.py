"""The failure review in a real browser: at three widths, without scripts, by keyboard, on paper, without a serious fault."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.utils import timezone

from tests.browser.conftest import SHOTS
from tests.browser.looking import WIDTHS, look
from tests.browser.test_accessibility import faults
from tests.pages.reviewed import BAD, Reviewed, fleet
from tests.pages.test_life_charts import LETTERS_OUTSIDE
from tracker.models import Bulletin, ServiceInterval

SURE_AWAY = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


@pytest.fixture
def known(transactional_db) -> Reviewed:
    return fleet(timezone.now(), bad=10, good=1)


@pytest.fixture
def reviewer(desk, mechanic):
    """The page of somebody who reviews."""
    mechanic.groups.set([Group.objects.get_or_create(name="reviewer")[0]])
    return desk


def looked_at(page, name: str) -> None:
    look(page, f"review-{name}")
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert faults(page) == []
    page.set_viewport_size({"width": 1280, "height": 900})


def test_the_overview_and_a_part_type_at_three_widths(reviewer, known):
    reviewer.goto("/review/")
    looked_at(reviewer, "overview")
    reviewer.click(f"#to-do a[href='/review/{known.part_type.pk}/']")
    looked_at(reviewer, "part")
    reviewer.click("#statistics > summary")
    for summary in reviewer.locator("details.numbers:visible > summary").all():
        summary.click()
    looked_at(reviewer, "statistics")
    for width in WIDTHS:
        reviewer.set_viewport_size({"width": width, "height": 900})
        assert reviewer.evaluate(LETTERS_OUTSIDE) == []
    reviewer.goto(f"/review/{known.sound.pk}/")
    looked_at(reviewer, "sound")


def test_the_review_in_the_dark(reviewer, known):
    reviewer.emulate_media(color_scheme="dark")
    reviewer.goto(f"/review/{known.part_type.pk}/")
    assert faults(reviewer) == []
    reviewer.screenshot(path=SHOTS / "review-dark.png", full_page=True)


def test_filters_work_at_once_with_scripts_and_by_a_button_without(reviewer, known, chromium, live_server):
    reviewer.goto(f"/review/{known.part_type.pk}/")
    reviewer.select_option("#part_view", f"batch:{BAD}")
    reviewer.wait_for_url("**view=batch**")
    assert "10 of 12" in reviewer.inner_text("#known")
    plain = chromium.new_context(
        base_url=live_server.url, java_script_enabled=False, storage_state=reviewer.context.storage_state()
    )
    page = plain.new_page()
    page.goto("/review/")
    page.select_option("#review_only", "to-do")
    page.click("form.filters button")
    assert page.locator("#quiet").count() == 0
    page.click("#to-do a")
    page.select_option("#part_view", f"batch:{BAD}")
    page.click("form.filters button")
    assert "10 of 12" in page.inner_text("#known")
    page.click("#statistics > summary")
    assert "Exposure" in page.inner_text("#statistics")
    plain.close()


def test_a_new_review_is_asked_for_by_keyboard(reviewer, known):
    reviewer.goto("/review/")
    for _ in range(40):
        reviewer.keyboard.press("Tab")
        if reviewer.evaluate("document.activeElement.textContent") == "Reckon now":
            break
    with reviewer.expect_navigation():
        reviewer.keyboard.press("Enter")
    assert "waiting to be reckoned" in reviewer.inner_text("main")
    looked_at(reviewer, "asked")


def test_both_pages_on_paper(reviewer, known):
    for name, path in (("overview", "/review/"), ("part", f"/review/{known.part_type.pk}/")):
        reviewer.goto(path)
        reviewer.emulate_media(media="print")
        reviewer.set_viewport_size({"width": 688, "height": 1040})  # A4 within its margins, at 96 px an inch
        reviewer.screenshot(path=SHOTS / f"review-{name}-paper.png", full_page=True)
        assert not reviewer.evaluate(SURE_AWAY)
        assert not reviewer.locator("nav.rail, .button, form.filters").filter(visible=True).count()
        reviewer.pdf(path=SHOTS / f"review-{name}.pdf", format="A4")
        reviewer.emulate_media(media="screen")


class Counted:
    """A person's hands: every click, and every value typed or chosen, is one input."""

    def __init__(self, page) -> None:
        self.page, self.inputs = page, 0

    def click(self, selector: str) -> None:
        self.inputs += 1
        with self.page.expect_navigation():
            self.page.click(selector)

    def fill(self, selector: str, value: str) -> None:
        self.inputs += 1
        self.page.fill(selector, value)


def test_from_the_overview_to_an_interval_and_a_bulletin_in_twelve_inputs_at_most(reviewer, transactional_db):
    known = fleet(timezone.now(), bad=1, good=1, worn=13)
    reviewer.goto("/review/")
    assert "Replace by age" in reviewer.inner_text("#to-do")
    hands = Counted(reviewer)
    hands.click(f"#to-do a[href='/review/{known.worn.pk}/']")
    assert "Replace at" in reviewer.inner_text("#verdict")
    hands.click(".buttons a:has-text('Renew by age?')")
    proposed = float(reviewer.input_value("input[name=interval]"))
    assert proposed > 0
    looked_at(reviewer, "interval")
    hands.click("button:has-text('Set this interval')")
    assert "The interval is set" in reviewer.inner_text("main")
    hands.click(f".kind a[href='/review/{known.worn.pk}/']")
    hands.click(".buttons a:has-text('Write a bulletin')")
    assert "Idler, one" in reviewer.input_value("input[name=title]")
    hands.fill("textarea[name=remedy]", "We renew the idler free of charge.")
    hands.fill("textarea[name=work]", "Swap the idler, look at the chain line.")
    hands.fill("input[name=deadline_on]", f"{(timezone.now() + timedelta(days=90)).date():%Y-%m-%d}")
    hands.click("button[name=save]")
    reviewer.wait_for_url("**/bulletins/*/")
    assert hands.inputs <= 12
    interval = ServiceInterval.objects.get(part_type=known.worn)
    assert interval.first_km == proposed
    bulletin = Bulletin.objects.get()
    assert list(bulletin.part_types.all()) == [known.worn]
    reviewer.goto(f"/review/{known.worn.pk}/")
    assert bulletin.number in reviewer.inner_text("#verdict")
