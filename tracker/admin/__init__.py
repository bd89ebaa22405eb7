"""The admin: everything can be looked at; only people, groups and API clients are changed here."""

from tracker.admin import access, bulletins, desk, fleet, records, site  # noqa: F401
