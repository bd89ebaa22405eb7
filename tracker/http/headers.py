"""Security headers on every answer, pages, API, static files and errors alike."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

_POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data:",
    "font-src": "'self'",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
    "base-uri": "'none'",
    "object-src": "'none'",
}
# The browsable API page writes style attributes as it draws; scripts stay with our own files there too.
API_DOCS = "/api/docs/"
PERMISSIONS = "camera=(self), geolocation=(), microphone=(), payment=(), usb=(), interest-cohort=()"


def policy_for(path: str) -> str:
    """Return the Content-Security-Policy of the page at `path`."""
    policy = {**_POLICY, "style-src": "'self' 'unsafe-inline'"} if path == API_DOCS else _POLICY
    return "; ".join(f"{name} {value}" for name, value in policy.items())


class SafeHeaders:
    """Set what the answer does not say itself. Nothing but static files may be kept by caches between us and them."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request with all headers."""
        response = self.get_response(request)
        defaults = {
            "Content-Security-Policy": policy_for(request.path),
            "X-Content-Type-Options": "nosniff",
            "X-Frame-Options": "DENY",
            "Permissions-Policy": PERMISSIONS,
            "Cross-Origin-Resource-Policy": "same-origin",
        }
        if not request.path.startswith("/static/"):
            defaults["Cache-Control"] = "no-store"
        for name, value in defaults.items():
            response.headers.setdefault(name, value)
        return response
