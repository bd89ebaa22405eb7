"""Who works here: the four roles with their rights in the admin, and people."""

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group, Permission

from services.pins import check_pin
from tracker.actions.refusals import FieldInvalid
from tracker.actions.transactions import action
from tracker.models import User
from tracker.models.access import ROLES

HIDDEN = {"apiclient", "idempotencyrecord", "ownerlink", "user"}  # keys and people: for the admin role alone
RULES = {"serviceinterval", "parttype"}  # what reviewers write
STAFF_ROLES = {"reviewer", "admin"}  # who may open the admin at all


@action
def set_up_roles() -> None:
    """Make the groups desk, mechanic, reviewer and admin with their rights; run again, it brings them up to date."""
    ours = list(Permission.objects.filter(content_type__app_label="tracker").select_related("content_type"))
    groups = Permission.objects.filter(content_type__app_label="auth", content_type__model="group")
    look = [right for right in ours if right.codename.startswith("view_") and right.content_type.model not in HIDDEN]
    rule = [
        right
        for right in ours
        if right.content_type.model in RULES and right.codename.split("_")[0] in {"add", "change"}
    ]
    rights = {"desk": look, "mechanic": look, "reviewer": look + rule, "admin": [*ours, *groups]}
    for role in ROLES:
        Group.objects.get_or_create(name=role)[0].permissions.set(rights[role])


@action
def add_person(*, username: str, display_name: str, role: str, password: str) -> User:
    """Add a person with one role, or give the one who is there this role and password. Raises FieldInvalid."""
    if role not in ROLES:
        raise FieldInvalid(f"'{role}' is no role here.", field="role", remedy=f"Choose one of: {', '.join(ROLES)}.")
    user, _ = User.objects.get_or_create(username=username)
    user.display_name = display_name
    user.is_staff = role in STAFF_ROLES
    user.set_password(password)
    user.save(update_fields=["display_name", "is_staff", "password"])
    user.groups.set([Group.objects.get_or_create(name=role)[0]])
    return user


@action
def set_pin(*, user_id: int, pin: str) -> User:
    """Set the PIN a person signs with, kept as a salted hash; '' takes it away. Raises WeakPin."""
    if pin:
        check_pin(pin)
    user = User.objects.select_for_update(of=("self",)).get(pk=user_id)
    user.pin = make_password(pin) if pin else ""
    user.save(update_fields=["pin"])
    return user
