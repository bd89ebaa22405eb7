"""Columns that are reckoned from another column of their row whenever Django writes the row, as auto_now dates are.

They hold what the database compares: serials in natural order, batch and firmware without case, width and blanks. Bulk
inserts keep them too; a QuerySet.update() of the column they come from does not, and nothing does that.
"""

from typing import Any

from django.db import models

from services.bulletins import fold_mark, order_key


class _Reckoned(models.CharField):
    """A key of `of`; NULL where that is empty."""

    of = ""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"max_length": 120, "null": True, "blank": True, "editable": False, **options})

    def deconstruct(self) -> tuple[str, str, list, dict]:
        """Return the field as migrations know it: a plain text column."""
        name, _, args, options = super().deconstruct()
        return name, "django.db.models.CharField", args, options

    def pre_save(self, model_instance: models.Model, add: bool) -> str | None:
        """Return the key of the column as it will be written."""
        text = getattr(model_instance, self.of)
        key = self.key(text) if text else ""
        setattr(model_instance, self.attname, key or None)
        return key or None

    @staticmethod
    def key(text: str) -> str:
        """Return the key of a text that is not empty."""
        raise NotImplementedError


class SerialKey(_Reckoned):
    """The natural order of the row's serial as text (services.bulletins.order_key)."""

    of = "serial"
    key = staticmethod(order_key)


class BatchKey(_Reckoned):
    """The row's batch as bulletins compare it (services.bulletins.fold_mark)."""

    of = "batch"
    key = staticmethod(fold_mark)


class FirmwareKey(_Reckoned):
    """The row's firmware as bulletins compare it."""

    of = "firmware"
    key = staticmethod(fold_mark)
