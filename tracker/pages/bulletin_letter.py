"""The letter of a bulletin as an owner will read it, before it is released and after."""

from types import SimpleNamespace

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone

from services.bulletin_words import marked
from services.bulletins import HEADLINE
from services.due_words import say_date
from services.language import ENGLISH, LANGUAGES, known, say, spoken
from tracker.language import in_language
from tracker.models import Bulletin
from tracker.pages.roles import page
from tracker.queries import bulletin_pages as queries
from tracker.queries.bulletin_notices import NoticeTold, named_part, notice_told, texts_in
from tracker.queries.bulletins import preview, scope_of
from tracker.queries.clock import local_date

LOOKED_AT = 200  # components among which one on a trike is looked for
LINK = "https://[the address of their own page]"


@page()
def letter(request: HttpRequest, bulletin_id: int) -> HttpResponse:
    """The letter to one owner, names left out; what softens the hazard is marked."""
    row = queries.whole(bulletin_id)
    if row is None:
        raise Http404
    code = known(request.GET.get("language", ""))
    languages = [ENGLISH, *(text.language for text in row.texts.all())]
    with in_language(code):
        subject, pieces = say(HEADLINE), marked(_text(row, code)) if row.is_hazard else ()
    context = {
        "row": row, "pieces": pieces, "language": code,
        "languages": [(each, LANGUAGES[each]) for each in languages], "subject": subject, "untold": queries.readers_left_out(row),
    }  # fmt: skip
    return render(request, "desk/bulletin_letter.html", context)


def _text(row: Bulletin, code: str) -> str:
    """The plain part of the letter in the language spoken, as the dispatcher writes it."""
    frame, notice = _sample(row)
    view = SimpleNamespace(
        owner=SimpleNamespace(name="[name of the owner]"),
        name="[model and plate]",
        trike=SimpleNamespace(frame_serial=frame),
    )
    words = {
        "view": view, "notice": notice, "notice_day": say_date(notice.day), "language": code,
        "links": SimpleNamespace(page=LINK, stop=LINK), "workshop": settings.WORKSHOP_NAME,
        "workshop_phone": settings.WORKSHOP_PHONE, "workshop_email": settings.WORKSHOP_EMAIL,
    }  # fmt: skip
    return render_to_string("mail/bulletin.txt", words).strip()


def _sample(row: Bulletin) -> tuple[str, NoticeTold]:
    """The frame serial of the first trike it touches, and what its owner is told; a blank where it touches none."""
    today, words = local_date(timezone.now()), texts_in(spoken(), [row.pk]).get(row.pk)
    for component in preview(scope_of(row), LOOKED_AT).components:
        here = next((stay for stay in component.stays if stay.removed_at is None), None)
        if here is not None:
            part = named_part(component, here.position, component.certainty)
            return str(here.trike), notice_told(row, [part], today, words)
    return "[frame serial]", notice_told(row, (), today, words)
