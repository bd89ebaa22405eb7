"""Where an open bulletin stands in the way: fitting a part that says stop riding, handing over a trike with open work.

Steps: they open no transaction of their own.
"""

from tracker.actions.refusals import Conflict
from tracker.actions.steps import serial_words
from tracker.models import Bulletin, BulletinPart, Component, Trike
from tracker.queries.bulletins import of_trike, open_parts

STOP, INFORMATION = Bulletin.Severity.STOP, Bulletin.Severity.INFORMATION


class OpenStopBulletin(Conflict):
    """A bulletin that says stop riding is open on this part: it goes onto no trike before it is put right."""

    code = "open-stop-bulletin"


class OpenBulletins(Conflict):
    """Bulletins are open on parts of this trike: is it handed over all the same?

    Nothing was signed. If so, send it again with `with_bulletins` true; it stands in the logbook then. Where one says stop
    riding, the work is done first.
    """

    code = "open-bulletins"


def refuse_stopped(component: Component, field: str = "component") -> None:
    """Raise OpenStopBulletin where a released bulletin that says stop riding is open on a component."""
    part = open_parts().filter(component=component, bulletin__severity=STOP).select_related("bulletin").first()
    if part is not None:
        raise OpenStopBulletin(
            f"Bulletin {part.bulletin} is open on {serial_words(component)}: {_said(part)}", field=field,
            remedy="Put it right on the bulletin's page first, or take another piece.", bulletin=part.bulletin.number,
        )  # fmt: skip


def _said(part: BulletinPart) -> str:
    return f"{part.bulletin.title.rstrip('.')}. It must not be ridden."


def bulletins_handed_over(trike: Trike, confirmed: bool) -> list[str]:
    """Return the numbers of bulletins open on a trike, once somebody has said that it is handed over with them.

    Raises OpenStopBulletin, OpenBulletins. What is for information only asks nobody.
    """
    parts = [part for part in of_trike(trike.pk) if part.bulletin.severity != INFORMATION]
    for part in parts:
        if part.bulletin.severity == STOP:
            refuse_stopped(part.component, "with_bulletins")
    numbers = list(dict.fromkeys(part.bulletin.number for part in parts))
    if numbers and not confirmed:
        raise OpenBulletins(
            f"Open on this trike: {', '.join(numbers)}.", field="with_bulletins",
            remedy="Do the work first, or say that it is handed over all the same.", bulletins=numbers,
        )  # fmt: skip
    return numbers
