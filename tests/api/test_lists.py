"""Lists: the same number of queries for 2 rows as for 22, cursor pages, filters, order."""

from datetime import timedelta

import pytest

from tests import factories as make
from tests.api.conftest import NOW, machine, part_at, problem
from tracker.actions.reminders import run_sweep
from tracker.models import Owner, ReviewRun, Trike

pytestmark = pytest.mark.django_db


def trikes(n, **values):
    return [make.OwnershipFactory(trike=make.TrikeFactory(**values)).trike for _ in range(n)]


def fitted(n):
    return [make.FitmentFactory(position="chain") for _ in range(n)]


def due_lines(n):
    from tracker.actions.steps import refresh_due

    if n == 2:
        make.ServiceIntervalFactory(task="chain_check", part_kind="chain")
    ids = [fitment.trike_id for fitment in fitted(n)]
    refresh_due(ids, NOW)


def job_cards(n):
    for _ in range(n):
        trike = make.TrikeFactory()
        card = make.JobCardFactory(trike=trike, reading=make.OdometerReadingFactory(trike=trike))
        part = make.ComponentFactory()
        make.JobTaskFactory(card=card, component=part)
        make.MeasurementFactory(card=card, component=part)
        make.SwapFactory(card=card)
        make.FailureFactory(card=card, trike=trike, component=part)


def visits(n):
    for _ in range(n):
        make.VisitLineFactory()


def handovers(n):
    from tracker.models import HandoverCheck

    for _ in range(n):
        HandoverCheck.objects.create(handover=make.HandoverFactory(), item="brakes hold", passed=True)


def findings(n):
    run = ReviewRun.objects.first() or make.ReviewRunFactory()
    study = {"counts": {"failed": 0}, "rate": {"rate": 0.0}, "life": {"pattern": "too-few"}, "ahead": None}
    for _ in range(n):
        payload = {"finding": {"do": ""}, "study": study}
        make.ReviewFindingFactory(run=run, part_type=make.PartTypeFactory(), payload=payload, is_main=True)


def build_lists(n):
    for _ in range(n):
        make.BuildListLineFactory(part_type=make.PartTypeFactory())


GROW = {
    "build-lists": build_lists,
    "part-types": make.PartTypeFactory.create_batch,
    "components": fitted,
    "trikes": trikes,
    "owners": trikes,
    "fitments": fitted,
    "readings": make.OdometerReadingFactory.create_batch,
    "rides": make.RideFileFactory.create_batch,
    "display-changes": make.DisplayChangeFactory.create_batch,
    "meter-readings": make.MeterReadingFactory.create_batch,
    "handovers": handovers,
    "intervals": lambda n: [make.ServiceIntervalFactory(part_type=make.PartTypeFactory()) for _ in range(n)],
    "occurrences": make.OccurrenceFactory.create_batch,
    "due-lines": due_lines,
    "visits": visits,
    "job-cards": job_cards,
    "log-entries": make.LogEntryFactory.create_batch,
    "messages": make.OutboxMessageFactory.create_batch,
    "appointments": make.AppointmentFactory.create_batch,
    "bounces": lambda n: make.OutboxMessageFactory.create_batch(n, bounced_at=NOW),
    "imports": make.ImportBatchFactory.create_batch,
    "bulletins": make.BulletinFactory.create_batch,
    "bulletin-parts": make.BulletinPartFactory.create_batch,
    "closings": make.ClosingFactory.create_batch,
    "review": findings,
}


def test_every_resource_stands_in_this_test():
    from tracker.http.roles import TABLE

    assert set(GROW) == set(TABLE)


@pytest.mark.parametrize("resource", sorted(GROW))
def test_a_list_costs_the_same_queries_for_2_rows_as_for_22(resource, admin, assert_flat_queries):
    GROW[resource](2)
    seen = []
    assert_flat_queries(lambda: seen.append(len(admin.get(resource).json()["results"])), lambda: GROW[resource](20))
    assert seen[0] >= 2
    assert seen[-1] >= seen[0] + 20


def on_one_trike(trike, what, n):
    for index in range(n):
        if what == "readings":
            make.OdometerReadingFactory(trike=trike)
        elif what == "logbook":
            make.LogEntryFactory(trike=trike)
        elif what == "job-cards":
            card = make.JobCardFactory(trike=trike)
            make.JobTaskFactory(card=card, component=part_at(trike, "chain"))
        else:
            facts = {"rule": {"task": "chain_check", "title": "Chain"}, "event": "crash", "event_on": "2026-04-01"}
            make.DueLineFactory(trike=trike, facts=facts, due_on=NOW.date() + timedelta(days=index))


@pytest.mark.parametrize("what", ["readings", "logbook", "job-cards", "due-lines"])
def test_a_list_of_one_trike_costs_the_same_queries_too(what, admin, trike, assert_flat_queries):
    on_one_trike(trike, what, 2)
    seen = []
    fetch = lambda: seen.append(len(admin.get(f"trikes/{trike.pk}/{what}").json()["results"]))  # noqa: E731
    assert_flat_queries(fetch, lambda: on_one_trike(trike, what, 20))
    assert seen[-1] == seen[0] + 20


def test_the_components_of_a_trike_cost_the_same_queries_however_many_they_are(admin, trike, assert_flat_queries):
    from services.positions import POSITIONS

    places = [position for position in POSITIONS if position not in {"frame", "chain", "battery"}]
    fetch = lambda: admin.get(f"trikes/{trike.pk}/components")  # noqa: E731
    assert_flat_queries(fetch, lambda: [make.FitmentFactory(trike=trike, position=place) for place in places[:20]])
    shown = fetch().json()
    assert next(row["position"] for row in shown) == "frame"
    assert len(shown) == 23


def walk(caller, path, **query):
    """All rows of a list, page by page, by `next`; checks Link and `previous` on the way."""
    response = caller.get(path, **query)
    rows, pages = [], 0
    while True:
        body = response.json()
        rows += [row["id"] for row in body["results"]]
        pages += 1
        if body["next"] is None:
            assert 'rel="next"' not in response.headers.get("Link", "")
            return rows, pages
        assert f'<{body["next"]}>; rel="next"' in response["Link"]
        before = body["results"]
        response = caller.client.get(body["next"])
        back = caller.client.get(response.json()["previous"]).json()
        assert back["results"] == before


@pytest.mark.parametrize("order", ["frame_serial", "-frame_serial", "id", "-id"])
def test_pages_show_every_row_once_in_order_forward_and_back(admin, order):
    ids = [trike.pk for trike in make.TrikeFactory.create_batch(11)]
    rows, pages = walk(admin, "trikes", order=order, limit=3)
    assert rows == (ids[::-1] if order.startswith("-") else ids)
    assert pages == 4


def test_rows_with_the_same_sort_value_are_each_shown_once(admin):
    ids = {row.pk for row in make.OdometerReadingFactory.create_batch(9)}
    rows, _ = walk(admin, "readings", order="-read_at", limit=2)
    assert len(rows) == 9
    assert set(rows) == ids


def test_rows_that_come_and_go_between_pages_move_nobody_elses_place(admin):
    lasting = {owner.pk for owner in make.OwnerFactory.create_batch(10)}
    first = admin.get("owners", limit=4).json()
    seen = [row["id"] for row in first["results"]]
    gone = max(lasting)
    Owner.objects.filter(pk=gone).delete()
    new = make.OwnerFactory().pk
    rest, _ = walk_from(admin, first["next"])
    assert sorted(seen + rest) == sorted(lasting - {gone} | {new})


def walk_from(caller, address):
    rows, pages = [], 0
    while address:
        body = caller.client.get(address).json()
        rows += [row["id"] for row in body["results"]]
        address, pages = body["next"], pages + 1
    return rows, pages


def test_a_cursor_belongs_to_its_list_and_order(admin):
    make.TrikeFactory.create_batch(3)
    make.OwnerFactory.create_batch(3)
    cursor = admin.get("trikes", limit=1).json()["next"].split("cursor=")[1].split("&")[0]
    from urllib.parse import unquote

    problem(admin.get("owners", cursor=unquote(cursor)), 400, "bad-cursor")
    problem(admin.get("trikes", cursor=unquote(cursor), order="-id"), 400, "bad-cursor")
    problem(admin.get("trikes", cursor=unquote(cursor)[:-1] + "_"), 400, "bad-cursor")


def test_the_last_page_going_back_is_the_first(admin):
    make.TrikeFactory.create_batch(5)
    second = admin.client.get(admin.get("trikes", limit=2).json()["next"]).json()
    first = admin.client.get(second["previous"]).json()
    assert first["previous"] is None
    assert first["next"] is not None


def ids(response):
    assert response.status_code == 200, response.content
    return {row["id"] for row in response.json()["results"]}


def test_trikes_are_found_by_state_serial_plate_model_and_owner(desk, trike):
    other = make.TrikeFactory(state="retired", model="Sedge", plate="AB 1")
    owner = trike.ownerships.get().owner_id
    assert ids(desk.get("trikes", state="delivered")) == {trike.pk}
    assert ids(desk.get("trikes", frame_serial=f" {other.frame_serial.lower()} ")) == {other.pk}
    assert ids(desk.get("trikes", plate="ab  1")) == {other.pk}
    assert ids(desk.get("trikes", model="sedge")) == {other.pk}
    assert ids(desk.get("trikes", owner=owner)) == {trike.pk}
    assert ids(desk.get("trikes", owner=owner, state="retired")) == set()


def test_components_are_found_by_kind_state_serial_batch_and_trike(desk, trike):
    spare = make.ComponentFactory(part_type__kind="chain", batch="B-7")
    on_it = part_at(trike, "chain")
    assert ids(desk.get("components", kind="chain")) == {spare.pk, on_it.pk}
    assert ids(desk.get("components", kind="chain", state="in_stock")) == {spare.pk}
    assert ids(desk.get("components", batch="b-7")) == {spare.pk}
    assert ids(desk.get("components", serial=on_it.serial.lower())) == {on_it.pk}
    assert on_it.pk in ids(desk.get("components", trike=trike.pk))
    assert ids(desk.get("components", part_type=spare.part_type_id)) == {spare.pk}


def test_a_component_tells_where_it_sits(desk, trike):
    chain = part_at(trike, "chain")
    place = desk.get(f"components/{chain.pk}").json()["place"]
    assert place["trike"] == trike.pk
    assert place["frame_serial"] == trike.frame_serial
    assert place["position"] == "chain"
    assert desk.get(f"components/{make.ComponentFactory().pk}").json()["place"] is None


def test_fitments_are_found_by_whether_they_ended(desk, trike):
    ended = make.FitmentFactory(
        trike=trike,
        position="battery",
        fitted_at=NOW - timedelta(days=900),
        removed_at=NOW - timedelta(days=800),
        component__state="scrapped",
    )
    assert ids(desk.get("fitments", trike=trike.pk, current="false")) == {ended.pk}
    assert ended.pk not in ids(desk.get("fitments", trike=trike.pk, current="true"))


def test_owners_are_found_by_words_of_their_name_without_accents(desk):
    owner = make.OwnerFactory(name="Zoë Álvarez", search_name="zoe alvarez")
    make.OwnerFactory()
    assert ids(desk.get("owners", name="ALVAREZ zoé")) == {owner.pk}


def test_due_lines_are_narrowed_by_day_task_trike_and_what_the_owner_can_do(desk):
    facts = {"rule": {"task": "chain_check", "title": "Chain"}, "event": "crash", "event_on": "2026-04-01"}
    soon = make.DueLineFactory(facts=facts, due_on=NOW.date(), early_on=NOW.date(), safety=True)
    late = make.DueLineFactory(
        facts=facts,
        due_on=NOW.date() + timedelta(days=90),
        owner_can=True,
        task="battery_storage_check",
        early_on=NOW.date() + timedelta(days=80),
    )
    assert ids(desk.get("due-lines", due_before="2026-05-02")) == {soon.pk}
    assert ids(desk.get("due-lines", due_from="2026-05-02")) == {late.pk}
    assert ids(desk.get("due-lines", task="battery_storage_check")) == {late.pk}
    assert ids(desk.get("due-lines", trike=soon.trike_id)) == {soon.pk}
    assert ids(desk.get("due-lines", safety="true")) == {soon.pk}
    assert ids(desk.get("due-lines", owner_can="true")) == {late.pk}
    assert {row["status"] for row in desk.get("due-lines").json()["results"]} == {"due", "ok"}


def test_a_due_line_tells_its_reason_in_the_unit_asked_for(desk, trike):
    from tracker.actions.steps import refresh_due

    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=1500)
    refresh_due([trike.pk], NOW)
    in_km = desk.get("due-lines", trike=trike.pk).json()["results"][0]
    in_miles = desk.get(f"trikes/{trike.pk}/due-lines", unit="mi").json()["results"][0]
    assert "1,500 km" in in_km["reason"]
    assert "932 mi" in in_miles["reason"]
    assert in_km["due_on"] == in_miles["due_on"]


def test_readings_are_narrowed_by_time_and_verdict(desk, trike):
    old = make.OdometerReadingFactory(trike=trike, read_at="2026-01-01T00:00:00Z")
    new = make.OdometerReadingFactory(trike=trike, read_at="2026-03-01T00:00:00Z", verdict="suspect")
    assert ids(desk.get("readings", read_after="2026-02-01T00:00:00+01:00")) == {new.pk}
    assert ids(desk.get("readings", read_before="2026-02-01T00:00:00Z", trike=trike.pk)) == {old.pk}
    assert ids(desk.get("readings", verdict="suspect")) == {new.pk}


def test_a_reviewer_sees_owners_without_names_and_cannot_search_by_them(reviewer, desk):
    owner = make.OwnerFactory(phone="+44 20 7946 0111")
    hidden, shown = reviewer.get(f"owners/{owner.pk}").json(), desk.get(f"owners/{owner.pk}").json()
    assert (hidden["name"], hidden["email"], hidden["phone"]) == (None, None, None)
    assert shown["name"] == owner.name
    assert shown["email"] == owner.email
    problem(reviewer.get("owners", name="rider"), 400, "bad-query")


def test_a_key_for_reading_sees_no_owner_but_their_ids(trike):
    caller = machine("read")
    shown = caller.get(f"trikes/{trike.pk}").json()
    assert shown["owner"] == trike.ownerships.get().owner_id
    problem(caller.get("owners"), 403, "not-allowed")
    problem(caller.get(f"owners/{shown['owner']}"), 404, "not-found")


def test_no_answer_may_be_kept_by_caches(desk, trike):
    assert desk.get("trikes")["Cache-Control"] == "no-store"
    assert Trike.objects.count() == 1


def test_the_due_list_is_walked_by_day(admin):
    facts = {"rule": {"task": "chain_check", "title": "Chain"}, "event": "crash", "event_on": "2026-04-01"}
    made = [make.DueLineFactory(facts=facts, due_on=NOW.date() + timedelta(days=n // 2)).pk for n in range(9)]
    assert walk(admin, "due-lines", limit=2) == (made, 5)
    assert walk(admin, "due-lines", limit=2, order="-due_on")[0] == made[::-1]


def test_a_due_line_tells_its_range_and_the_numbers_behind_it(desk, trike):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=4000, every_months=None)
    make.OdometerReadingFactory(trike=trike, value=2000)
    run_sweep(now=NOW, everything=True)
    (line,) = desk.get(f"trikes/{trike.pk}/due-lines", unit="mi").json()["results"]
    assert line["likely_from"] < line["due_on"] < line["likely_until"]
    assert " mi" in line["why"]
    assert "The distance comes first." in line["why"]
