"""People of the workshop whom files name: found by name, or added without a password, as mechanics."""

from collections.abc import Iterable

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.utils.text import slugify

from services.identity import fold_name
from tracker.models import User


def login_of(name: str) -> str:
    """Return the user name a person's name becomes: 'Nia Prosser' -> 'nia-prosser'."""
    return (slugify(name) or slugify(name, allow_unicode=True) or "person")[:150]


class Staff:
    """Everybody who works here, by name and by login."""

    def __init__(self) -> None:
        self._known: dict[str, User] = {}
        for user in User.objects.order_by("pk"):
            self._known.setdefault(login_of(user.username), user)
            if user.display_name:
                self._known.setdefault(login_of(user.display_name), user)

    def is_same(self, one: str, other: str) -> bool:
        """Whether two names mean one person."""
        return login_of(one) == login_of(other) or fold_name(one) == fold_name(other)

    def write(self, names: Iterable[str]) -> None:
        """Add the people not known yet; their accounts cannot sign in until someone sets a password."""
        new = {login_of(name): name for name in names if name and login_of(name) not in self._known}
        if not new:
            return
        mechanics, _ = Group.objects.get_or_create(name="mechanic")
        users = User.objects.bulk_create(
            User(username=login, display_name=name[:80], password=make_password(None)) for login, name in new.items()
        )
        mechanics.user_set.add(*users)
        self._known |= {user.username: user for user in users}

    def id_of(self, name: str) -> int | None:
        """Return the key of a person, None for no name. Call after write."""
        return self._known[login_of(name)].pk if name else None
