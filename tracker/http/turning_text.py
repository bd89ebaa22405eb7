"""Characters that turn the direction of text are written out on every page: what is read is what is kept."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from services.identity import visible


class TurningText:
    """Show [U+202E] where a kept text holds that character, wherever on a page of HTML it stands, inputs too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request, its page made safe to read."""
        response = self.get_response(request)
        if not response.streaming and response.get("Content-Type", "").startswith("text/html"):
            page = response.content.decode(response.charset)
            shown = visible(page)
            if shown != page:
                response.content = shown.encode(response.charset)
        return response
