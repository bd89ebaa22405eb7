"""axe-core finds nothing serious or critical on any page, at the desk's width and on a phone (WCAG 2.2 A and AA)."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import Group

from tests.pages.conftest import workshop  # noqa: F401
from tests.pages.test_roles import ALL_PAGES, PAPERS, RULER_PAGES, WRITER_PAGES, ids  # noqa: F401
from tests.pages.test_roles import address as address_of

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


@pytest.fixture
def everyone(mechanic) -> None:
    """The mechanic may see every page for this test."""
    mechanic.groups.add(*(Group.objects.get_or_create(name=name)[0] for name in ("reviewer", "admin")))


def faults(page) -> list[str]:
    found = Axe().run(page, options=RULES).response["violations"]
    return [
        f"{fault['id']} ({fault['impact']}): {node['html'][:120]}"
        for fault in found
        if fault["impact"] in {"serious", "critical"}
        for node in fault["nodes"][:3]
    ]


PAGES = [name for name in (*ALL_PAGES, *WRITER_PAGES, *RULER_PAGES) if name not in PAPERS]


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("part", range(3))  # parts that a run spreads over its workers
def test_every_page_of_the_desk(transactional_db, desk, everyone, ids, part, width):  # noqa: F811
    bad = {}
    desk.set_viewport_size({"width": width, "height": 900})
    for name in PAGES[part::3]:
        answer = desk.goto(address_of(name, ids))
        assert answer.status == 200, name
        if found := faults(desk):
            bad[name] = found
    assert bad == {}


def test_the_check_sees_a_fault_where_there_is_one(chromium):
    page = chromium.new_page()
    page.set_content("<html lang=en><title>x</title><main><h1>x</h1><img src=x></main>")
    assert [fault.partition(" ")[0] for fault in faults(page)] == ["image-alt"]
    page.close()


def test_the_login_page(transactional_db, chromium, live_server):
    page = chromium.new_page(base_url=live_server.url)
    page.goto("/login/")
    assert faults(page) == []
    page.close()
