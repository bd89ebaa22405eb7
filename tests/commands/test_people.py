import pytest

from services.errors import Refusal
from tracker.actions.people import add_person, set_up_roles

pytestmark = pytest.mark.django_db


@pytest.fixture
def person():
    """Return somebody in a role, with the rights of that role."""
    set_up_roles()
    return lambda role: add_person(username=role, display_name=role.title(), role=role, password="three wheels 2026")


@pytest.mark.parametrize(
    ("role", "may", "may_not"),
    [
        ("desk", "tracker.view_trike", "tracker.change_serviceinterval"),
        ("mechanic", "tracker.view_jobcard", "tracker.add_parttype"),
        ("reviewer", "tracker.change_serviceinterval", "tracker.view_user"),
        ("admin", "tracker.change_user", "auth.add_permission"),
    ],
)
def test_each_role_may_what_its_work_needs_and_no_more(person, role, may, may_not):
    someone = person(role)
    assert someone.has_perm(may)
    assert not someone.has_perm(may_not)


@pytest.mark.parametrize(("role", "opens"), [("desk", False), ("mechanic", False), ("reviewer", True), ("admin", True)])
def test_only_reviewers_and_admins_open_the_admin(person, role, opens):
    assert person(role).is_staff is opens


def test_keys_and_people_are_hidden_from_all_but_the_admin_role(person):
    for role in ("desk", "mechanic", "reviewer"):
        someone = person(role)
        assert not any(someone.has_perm(f"tracker.view_{hidden}") for hidden in ("user", "apiclient", "ownerlink"))


def test_adding_somebody_who_is_there_gives_them_the_new_role_alone(person):
    person("desk")
    again = add_person(username="desk", display_name="Dana", role="mechanic", password="three wheels 2027")
    assert [group.name for group in again.groups.all()] == ["mechanic"]
    assert again.check_password("three wheels 2027")


def test_an_unknown_role_is_refused():
    with pytest.raises(Refusal) as refused:
        add_person(username="x", display_name="x", role="owner", password="three wheels 2026")
    assert refused.value.field == "role"
