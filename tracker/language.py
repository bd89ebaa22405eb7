"""One place that says in which language a reader reads: for the sentences of services/ and our own, and for templates.

Owners read theirs; the desk reads English, and so does whatever is kept. Django's own words and forms follow.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest
from django.utils import translation

from services.language import ENGLISH, Catalogue, known, speaking

OURS = Catalogue("django", Path(__file__).parent / "locale")


def asked_for(request: HttpRequest) -> str:
    """Return the language a browser asks for (RFC 9110 section 12.5.4): of readers whom we do not know."""
    return translation.get_language_from_request(request).partition("-")[0]


@contextmanager
def in_language(code: str) -> Iterator[None]:
    """Tell everything inside in the language of `code`; in English where we do not speak it."""
    code = known(code)
    with speaking(code, OURS), translation.override(settings.LANGUAGE_CODE if code == ENGLISH else code):
        yield
