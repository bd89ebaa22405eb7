"""The bulletin pages: written in a form, released by a second person, worked off, and shown wherever a person must see them."""

import csv
import io

import pytest
from django.urls import reverse

from services.bulletins import STATES
from tests import factories as make
from tests.pages.conftest import carry, logged_in
from tracker.actions.bulletins import release_bulletin, write_bulletin
from tracker.models import Bulletin, BulletinPart, JobTask, OutboxMessage
from tracker.pages.bulletin_chart import course_chart
from tracker.queries.bulletin_pages import course_of
from tracker.queries.search import find

SAYS = {
    "title": "Air shock leaks",
    "severity": "mandatory",
    "remedy": "We renew the seal, free of charge.",
    "minutes": 40,
}
DANGER = {"is_hazard": True, "hazard": "The shock can burst and throw the rider.", "stop_riding": "Stop riding now."}


def bare(**values) -> Bulletin:
    """A released bulletin as a bare row."""
    return make.BulletinFactory(state="released", released_by=make.UserFactory(), released_at=make.NOW, **values)


def draft(part_type, **values) -> Bulletin:
    told = {**SAYS, "part_types": [part_type.pk], **values}
    return write_bulletin(values=told, by=make.UserFactory(), now=make.NOW)


def released(part_type, **values) -> Bulletin:
    row = draft(part_type, **values)
    return release_bulletin(bulletin_id=row.pk, version=1, warnings_read=True, by=make.UserFactory(), now=make.NOW)


@pytest.fixture
def out(workshop) -> Bulletin:
    """A hazard bulletin about the workshop's shock, and one more piece of its type in stock."""
    make.ComponentFactory(part_type=workshop.shock.part_type, serial="S24099", state="in_stock")
    return released(workshop.shock.part_type, **DANGER)


def part_of(bulletin, component) -> BulletinPart:
    return BulletinPart.objects.get(bulletin=bulletin, component=component)


def move(client, part, state, **more):
    address = reverse("move-bulletin-part", args=[part.bulletin_id, part.pk])
    return client.post(address, {"state": state, "version": part.version, "from": "parts", **more})


def typed(**values):
    whole = {
        "title": "Air shock leaks",
        "severity": "mandatory",
        "remedy": "We renew the seal.",
        "minutes": "40",
        "version": "0",
    }
    return {**whole, **values}


# Writing


def test_a_review_page_fills_in_the_part_type_and_the_batch(reviewer, workshop):
    kind = workshop.shock.part_type
    answer = reviewer.get(f"/bulletins/new/?part_type={kind.pk}&batch=K-17")
    form = answer.context["form"]
    assert [row.pk for row in form.chosen] == [kind.pk]
    assert form["batches"].value() == "K-17"
    assert form["title"].value() == f"{kind.name}, batch K-17"


@pytest.mark.parametrize(
    "link", ["part_type=x&batch=", "part_type=99999999999999999999", "part_type=-1&serials=%00", "batch=" + "x" * 9_000]
)
def test_a_link_with_nonsense_opens_an_empty_form(link, reviewer):
    assert reviewer.get(f"/bulletins/new/?{link}").status_code == 200


def test_a_draft_is_kept_with_its_scope(reviewer, workshop):
    kind = workshop.shock.part_type
    answer = reviewer.post(
        "/bulletins/new/",
        typed(part_types=kind.pk, serials="S24000 to S24099", batches="K-17, k-18", made_from="2024-01-01"),
    )
    row = Bulletin.objects.get()
    assert answer["Location"] == f"/bulletins/{row.pk}/"
    assert [(span.first, span.last) for span in row.ranges.all()] == [("S24000", "S24099")]
    assert (row.state, row.batches, row.made_from.isoformat()) == ("draft", ["K-17", "K-18"], "2024-01-01")


def test_a_part_type_is_named_by_number_name_or_line_of_the_list(reviewer, workshop):
    kind = workshop.shock.part_type
    for text in (kind.part_number, kind.name.upper(), str(kind)):
        reviewer.post("/bulletins/new/", typed(find=text))
    assert [list(row.part_types.all()) for row in Bulletin.objects.all()] == [[kind]] * 3


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("find", {}),
        ("find", {"find": "no such thing"}),
        ("serials", {"serials": "A10 to A9"}),
        ("made_from", {"made_from": "2024-02-01", "made_until": "2024-01-01"}),
        ("stop_riding", {"severity": "stop", "hazard": "It breaks."}),
        ("hazard", {"is_hazard": "on"}),
        ("deadline_on", {"deadline_on": "2020-01-01"}),
        ("remedy", {"remedy": ""}),
        ("title", {"title": "x" * 121}),
    ],
)
def test_a_refusal_stands_beside_its_field_and_what_was_typed_stays(field, values, reviewer, workshop):
    known = {} if field == "find" else {"part_types": workshop.shock.part_type_id}
    answer = reviewer.post("/bulletins/new/", typed(**known, **values))
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert not Bulletin.objects.exists()


def test_looking_at_what_it_touches_keeps_nothing(reviewer, workshop):
    answer = reviewer.post("/bulletins/new/", typed(part_types=workshop.shock.part_type_id, look="1", title=""))
    assert answer.status_code == 200
    assert answer.context["touched"].found.total == 1
    assert not Bulletin.objects.exists()
    assert not answer.context["form"].errors


def test_what_is_typed_is_counted_and_softening_words_are_marked(reviewer, workshop):
    sent = typed(part_types=workshop.shock.part_type_id, hazard="In rare situations <b>the bolt</b> breaks.")
    shown = reviewer.post("/bulletins/touches/", sent).content.decode()
    assert "<mark>In rare situations</mark> &lt;b&gt;the bolt" in shown
    assert "<dd><b>1</b> on 1 trike</dd>" in shown
    assert "(EU) 2023/988" in shown


def test_what_somebody_else_changed_meanwhile_is_not_written_over_unseen(reviewer, workshop):
    row = draft(workshop.shock.part_type)
    Bulletin.objects.filter(pk=row.pk).update(version=2, title="Another title")
    sent = typed(part_types=workshop.shock.part_type_id, version="1")
    answer = reviewer.post(f"/bulletins/{row.pk}/change/", sent)
    assert answer.status_code == 409
    assert "Another title" in answer.content.decode()
    assert reviewer.post(f"/bulletins/{row.pk}/change/", sent | {"version": "2"}).status_code == 302


def test_a_released_bulletin_is_not_changed(reviewer, out):
    answer = reviewer.get(f"/bulletins/{out.pk}/change/", follow=True)
    assert "not changed any more" in answer.content.decode()


# Release


def test_who_wrote_it_does_not_release_it_and_is_told_so(reviewer, workshop):
    reviewer.post("/bulletins/new/", typed(part_types=workshop.shock.part_type_id))
    row = Bulletin.objects.get()
    assert "A second person" in reviewer.get(f"/bulletins/{row.pk}/").content.decode()
    assert reviewer.post(f"/bulletins/{row.pk}/release/", {"version": 1}).status_code == 409
    assert logged_in("admin").post(f"/bulletins/{row.pk}/release/", {"version": 1}).status_code == 302
    row.refresh_from_db()
    assert row.state == "released"


def test_words_that_soften_are_read_before_it_goes_out(admin, workshop):
    row = draft(workshop.shock.part_type, **DANGER | {"hazard": "The shock may burst in rare situations."})
    page = admin.get(f"/bulletins/{row.pk}/").content.decode()
    assert "in rare situations" in page.lower()
    assert admin.post(f"/bulletins/{row.pk}/release/", {"version": 1}).status_code == 409
    assert admin.post(f"/bulletins/{row.pk}/release/", {"version": 1, "warnings_read": "on"}).status_code == 302


def test_an_end_with_open_parts_says_why(admin, out):
    assert (
        admin.post(f"/bulletins/{out.pk}/end/", {"version": out.version, "how": "closed", "why": ""}).status_code == 422
    )
    admin.post(f"/bulletins/{out.pk}/end/", {"version": out.version, "how": "withdrawn", "why": "Wrong batch."})
    out.refresh_from_db()
    assert (out.state, out.ended_why) == ("withdrawn", "Wrong batch.")


# Worked off


def test_a_component_is_moved_by_one_button(desk, out, workshop):
    part = part_of(out, workshop.shock)
    assert move(desk, part, "booked")["Location"] == f"/bulletins/{out.pk}/#parts"
    part.refresh_from_db()
    assert part.state == "booked"


def test_a_move_that_cannot_be_is_told_and_changes_nothing(desk, out, workshop):
    part = part_of(out, workshop.shock)
    for state, more in (("scrap", {}), ("affected", {}), ("refused", {"note": ""}), ("booked", {"version": 99})):
        answer = desk.get(move(desk, part, state, **more)["Location"])
        assert 'class="note stop" role="status"' in answer.content.decode(), state
    part.refresh_from_db()
    assert part.state == "affected"


def test_an_owner_who_was_rung_is_told_of_the_whole_trike(desk, out, workshop):
    assert OutboxMessage.objects.filter(kind="safety").count() == 1
    move(desk, part_of(out, workshop.shock), "notified", note="Rang at noon.")
    notice = out.notices.get()
    assert (notice.told_note, notice.told_by.username) == ("Rang at noon.", "the-desk")
    assert part_of(out, workshop.shock).state == "notified"


def test_who_cannot_be_reached_by_mail_stands_on_the_calling_list(desk, out, workshop):
    assert desk.get(f"/bulletins/{out.pk}/").context["calls"] == []
    workshop.owner.email = ""
    workshop.owner.save()
    page = desk.get(f"/bulletins/{out.pk}/")
    assert [row["owner"] for row in page.context["calls"]] == [workshop.owner]
    assert 'href="tel:+442079460312"' in page.content.decode()


def test_stock_and_past_fitments_stand_apart(desk, out, workshop):
    page = desk.get(f"/bulletins/{out.pk}/")
    assert [str(row["part"].component) for row in page.context["fitted"]] == ["S24037"]
    assert [str(row["part"].component) for row in page.context["elsewhere"]] == ["S24099"]


def test_the_list_says_how_far_each_has_come(desk, out, workshop):
    move(desk, part_of(out, workshop.shock), "corrected")
    page = desk.get("/bulletins/").content.decode()
    assert "1 of 2 done, 50 %" in page
    assert 'max="2" value="1"' in page


def test_longer_lists_ask_no_more_queries(desk, out, workshop, assert_flat_queries):
    def grow():
        for number in range(12):
            trike = make.TrikeFactory()
            make.OwnershipFactory(trike=trike)
            piece = make.ComponentFactory(part_type=workshop.shock.part_type, serial=f"S9{number:03d}", state="fitted")
            make.FitmentFactory(component=piece, trike=trike, position="rear-shock")
            make.BulletinPartFactory(bulletin=out, component=piece)
            make.BulletinPartFactory(component=piece, bulletin=bare(number=f"B-2025-{number:03d}"))

    assert_flat_queries(lambda: (desk.get(f"/bulletins/{out.pk}/"), desk.get("/bulletins/")), grow)


def test_the_course_counts_what_was_done_by_day(out, workshop, desk):
    move(desk, part_of(out, workshop.shock), "corrected")
    assert course_of(out.pk) == [(make.NOW.date(), 2, 1)]
    days = [(make.NOW.date().replace(day=1, month=4), 46, 0), (make.NOW.date(), 46, 43)]
    chart = course_chart(days, make.NOW.date().replace(day=20))
    assert "43 of 46 components were done" in chart
    assert course_chart(course_of(out.pk), make.NOW.date()) is None


# Export


def table(answer) -> list[list[str]]:
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_the_export_holds_every_component_and_no_formula(desk, out, workshop):
    BulletinPart.objects.filter(pk=part_of(out, workshop.shock).pk).update(note="=cmd|' /C calc'!A0")
    answer = desk.get(f"/bulletins/{out.pk}/parts.csv")
    head, *rows = table(answer)
    assert answer["Content-Disposition"] == f'attachment; filename="{out.number}-2026-05-01.csv"'
    mine = dict(zip(head, next(row for row in rows if row[1] == "S24037"), strict=True))
    assert (mine["Trike"], mine["Owner"], mine["Note"]) == ("F26-1040", "Zoë Ångström", "'=cmd|' /C calc'!A0")
    assert len(rows) == 2


def test_who_sees_no_personal_data_gets_none_in_the_export(reviewer, out):
    head, *rows = table(reviewer.get(f"/bulletins/{out.pk}/parts.csv"))
    assert not {"Owner", "E-mail", "Phone"} & set(head)
    assert "Ångström" not in str(rows)


# Shown at once


def test_every_page_about_the_trike_says_so_first(desk, out, workshop):
    for address in (
        f"/trikes/{workshop.trike.pk}/",
        f"/jobs/{workshop.card.pk}/intake/",
        f"/trikes/{workshop.trike.pk}/reading/",
    ):
        page = desk.get(address).content.decode()
        assert f"Bulletin {out}</a>: Air shock leaks. <b>Stop riding now.</b>" in page, address
        assert "S24037" in page


def test_a_done_bulletin_leaves_the_trike_page_and_stays_on_the_components(desk, out, workshop):
    move(desk, part_of(out, workshop.shock), "inspected")
    assert "Air shock leaks" not in desk.get(f"/trikes/{workshop.trike.pk}/").content.decode().partition("<h1>")[0]
    page = desk.get(f"/components/{workshop.shock.pk}/").content.decode()
    assert "inspected, not affected" in page
    assert 'role="note"' not in page.partition("Where it is")[0]


def test_a_component_in_stock_says_that_a_bulletin_is_open_on_it(desk, out):
    part = out.parts.exclude(component__fitments__isnull=False).get()
    assert (
        "Air shock leaks" in desk.get(f"/components/{part.component_id}/").content.decode().partition("Where it is")[0]
    )


def test_the_list_of_parts_marks_what_an_open_bulletin_names(desk, out):
    rows = desk.get("/components/?q=S240").context["rows"]
    assert {str(row): mark for row, mark in rows} == dict.fromkeys(
        ["S24037", "S24099"], f"bulletin {out.number}: safety"
    )


def test_the_search_marks_what_an_open_bulletin_names(out, workshop):
    assert [hit.bulletin for hit in find("F26-1040")] == [f"bulletin {out.number}: safety"]
    assert [hit.bulletin for hit in find("S24037")] == [f"bulletin {out.number}: safety"]
    assert [hit.bulletin for hit in find("K24000")] == [""]


def test_the_passport_tells_what_is_open_and_what_was_done(out, workshop, desk):
    from tracker.queries.passport import passport

    (row,) = passport(workshop.trike.pk, make.NOW)["bulletins"]
    assert (row["number"], row["is_open"]) == (out.number, True)
    move(desk, part_of(out, workshop.shock), "corrected")
    (row,) = passport(workshop.trike.pk, make.NOW)["bulletins"]
    assert (row["state"], row["is_open"]) == ("corrected", False)
    assert desk.get(f"/trikes/{workshop.trike.pk}/passport.pdf").content.startswith(b"%PDF")


def test_the_logbook_tells_it_in_words(out, workshop, desk):
    move(desk, part_of(out, workshop.shock), "booked")
    page = desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()
    assert f"{out.number}: the part came under it" in page
    assert f"{out.number}: not told yet → booked" in page


# The bench


def task_on_card(mechanic, out, workshop) -> JobTask:
    """Put the bulletin's work onto the open card by the button that offers it."""
    page = mechanic.get(f"/jobs/{workshop.card.pk}/tasks/")
    ((code, _, part),) = page.context["bulletins"]
    mechanic.post(f"/jobs/{workshop.card.pk}/tasks/", {"add": f"{part.component_id}:{code}"})
    return JobTask.objects.get(card=workshop.card, component=workshop.shock)


@pytest.mark.parametrize(("button", "not_affected"), [("done", None), ("clean", True)])
def test_the_card_offers_the_work_and_the_bench_says_what_came_of_it(button, not_affected, mechanic, out, workshop):
    task = task_on_card(mechanic, out, workshop)
    bench = mechanic.get(f"/jobs/{workshop.card.pk}/bench/").content.decode()
    assert "The shock can burst" in bench
    mechanic.post(f"/jobs/{workshop.card.pk}/bench/", {button: f"{task.component_id}:{task.task}"})
    task.refresh_from_db()
    assert (task.outcome, task.not_affected) == ("done", not_affected)


def test_what_was_found_clean_can_be_opened_and_corrected_instead(mechanic, out, workshop):
    task = task_on_card(mechanic, out, workshop)
    pick = f"{task.component_id}:{task.task}"
    for button in ("clean", "again", "done"):
        task.refresh_from_db()
        key = f"base-task-{task.component_id}-{task.task.replace(':', '-')}-outcome"
        mechanic.post(f"/jobs/{workshop.card.pk}/bench/", {button: pick, key: task.outcome})
    task.refresh_from_db()
    assert (task.outcome, task.not_affected) == ("done", None)


def test_the_note_on_a_bulletins_work_is_kept_as_it_is_typed(mechanic, out, workshop):
    task = task_on_card(mechanic, out, workshop)
    field = f"{task.component_id}:{task.task}:note"
    answer = mechanic.post(
        f"/jobs/{workshop.card.pk}/save/", {"section": "task", "field": field, "value": "Seal cut", "base": ""}
    )
    assert answer.status_code == 200
    task.refresh_from_db()
    assert task.note == "Seal cut"


# Fitting and handing over


def test_every_state_can_be_shown(desk, workshop):
    row = bare()
    for state in STATES:
        make.BulletinPartFactory(
            bulletin=row, state=state, component=carry(make.TrikeFactory(), "chain", "chain", f"X-{state}")
        )
    page = desk.get(f"/bulletins/{row.pk}/")
    assert len(page.context["fitted"]) == len(STATES)
