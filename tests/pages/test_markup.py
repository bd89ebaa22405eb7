"""What every page keeps to: nothing inline, nothing from outside, a label on every field, no id twice."""

from collections import Counter
from html.parser import HTMLParser

import pytest

from tests.pages.test_roles import PAPERS, SEEN_BY, address, ids  # noqa: F401 - `ids` is a fixture

FIELDS = {"input", "select", "textarea"}
VOID = {"meta", "link", "img", "input", "br", "hr", "progress"}


class Page(HTMLParser):
    """The start tags of a page, and whether scripts hold text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "title" and "svg" in self.open:  # a drawing has a title of its own
            tag = "svg-title"
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if tag == "title" and "svg" in self.open:
            tag = "svg-title"
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def all(self, *names: str) -> list[dict[str, str | None]]:
        return [attrs for tag, attrs in self.tags if tag in names]


@pytest.fixture
def pages(ids, admin) -> dict[str, Page]:  # noqa: F811
    found = {name: Page(admin.get(address(name, ids), follow=True).content.decode()) for name in set(SEEN_BY) - PAPERS}
    return found | {"login": Page(type(admin)().get("/login/").content.decode())}


def test_every_page_keeps_to_the_rules(pages):
    problems = {}
    for name, page in pages.items():
        found = [*inline(page), *from_outside(page), *unlabelled(page), *twice(page), *untidy(page)]
        if found:
            problems[name] = found
    assert problems == {}


def inline(page: Page) -> list[str]:
    """Styles, scripts and handlers inside the page, which the security policy would not run."""
    found = [f"style on {tag}" for tag, attrs in page.tags if "style" in attrs]
    found += [f"{key} on {tag}" for tag, attrs in page.tags for key in attrs if key.startswith("on")]
    return (
        found
        + ["inline script" for attrs in page.all("script") if "src" not in attrs]
        + ["<style>"] * len(page.all("style"))
    )


def from_outside(page: Page) -> list[str]:
    """Addresses that leave the workshop (telling a phone or mail program a number is no request)."""
    urls = [attrs.get(key) or "" for _, attrs in page.tags for key in ("src", "href", "action", "srcset")]
    return [url for url in urls if url.startswith(("http:", "https:", "//"))]


def unlabelled(page: Page) -> list[str]:
    """Fields that a screen reader could not name."""
    labelled = {attrs.get("for") for attrs in page.all("label")}
    return [
        f"no label: {attrs.get('name')}"
        for attrs in page.all(*FIELDS)
        if attrs.get("type") != "hidden" and "aria-label" not in attrs and attrs.get("id") not in labelled
    ]


def twice(page: Page) -> list[str]:
    """Ids that stand on a page more than once; hidden fields are never pointed at."""
    ids_ = Counter(attrs["id"] for _, attrs in page.tags if attrs.get("id") and attrs.get("type") != "hidden")
    return [f"id twice: {name}" for name, count in ids_.items() if count > 1]


def untidy(page: Page) -> list[str]:
    """Tags closed in the wrong order or left open; one heading of the first order, one main part."""
    found = [f"closed wrongly: {tag}" for tag in page.wrong] + [f"left open: {tag}" for tag in page.open]
    return found + [f"{len(page.all(tag))} {tag}" for tag in ("h1", "main", "title") if len(page.all(tag)) != 1]


def test_these_checks_see_what_they_look_for():
    page = Page(
        '<h1 style="x" onclick="y"><input id="a" name="b"><b id="a"><script>1</script></h1><img src="//cdn.example.com">'
    )
    assert inline(page) == ["style on h1", "onclick on h1", "inline script"]
    assert from_outside(page) == ["//cdn.example.com"]
    assert unlabelled(page) == ["no label: b"]
    assert twice(page) == ["id twice: a"]
    assert "closed wrongly: h1" in untidy(page)


def test_error_pages_come_in_the_same_dress(admin):
    page = admin.get("/nowhere/")
    assert page.status_code == 404
    assert "Not here" in page.content.decode()
    assert inline(Page(page.content.decode())) == []
