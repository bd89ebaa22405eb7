"""The form that changes a trike."""


def values(trike, **typed):
    return {"plate": trike.plate or "", "model": trike.model, "severity": "1", "version": trike.version} | typed  # fmt: skip


def test_a_trike_is_changed_and_says_so_in_its_history(workshop, desk):
    trike = workshop.trike
    workshop.card.delete()
    answer = desk.post(f"/trikes/{trike.pk}/change/", values(trike, severity="0.75", plate="LT-311"))
    assert answer["Location"] == f"/trikes/{trike.pk}/"
    page = desk.get(f"/trikes/{trike.pk}/").content.decode()
    assert "LT-311" in page
    assert "how hard it is used 1 → 0.75" in page


def test_a_severity_beyond_its_bounds_is_refused_beside_its_field(workshop, desk):
    answer = desk.post(f"/trikes/{workshop.trike.pk}/change/", values(workshop.trike, severity="2"))
    assert answer.status_code == 422
    assert "between 0.25 and 1" in answer.context["form"].errors["severity"][0]


def test_a_stale_change_is_shown_beside_what_stands(workshop, desk):
    typed = values(workshop.trike, model="Mine")
    desk.post(f"/trikes/{workshop.trike.pk}/change/", typed | {"model": "Theirs"})
    answer = desk.post(f"/trikes/{workshop.trike.pk}/change/", typed)
    assert answer.status_code == 409
    assert answer.context["form"].conflict == [("Model", "Theirs", "Mine")]
