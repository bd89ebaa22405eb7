"""A printed paper as an answer: shown in the browser, kept by nobody between."""

import re
import unicodedata
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.http import Http404, HttpResponse

from tracker.papers.printing import print_paper

# The browser's own viewer draws the paper; nothing else may run or load on that page.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; object-src 'self'; frame-ancestors 'none'"


def pdf_answer(template: str, paper: Mapping[str, Any] | None, name: str, *, now: datetime) -> HttpResponse:
    """Return the PDF of `paper` under a safe file name. Raises Http404 where there is no paper."""
    if paper is None:
        raise Http404
    answer = HttpResponse(print_paper(template, paper, now=now), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{file_name(name)}.pdf"'
    answer["Cache-Control"] = "private, no-store"
    answer["Content-Security-Policy"] = POLICY
    return answer


def file_name(name: str) -> str:
    """Return a name that every file system and header takes: ASCII letters, digits and dashes, at most 80."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:80] or "paper"
