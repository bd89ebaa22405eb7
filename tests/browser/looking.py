"""Looking at pages: at the widths of a desk, a tablet and a phone."""

from tests.browser.conftest import SHOTS

WIDTHS = (1280, 820, 390)


def look(page, name: str) -> None:
    """Keep a picture of the page at every width; nothing may scroll sideways."""
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=SHOTS / f"{name}-{width}.png", full_page=True)
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        assert not wide, f"{name} scrolls sideways at {width} px"
    page.set_viewport_size({"width": 1280, "height": 900})
