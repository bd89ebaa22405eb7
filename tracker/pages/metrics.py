"""Figures for a monitoring system, in the text format that Prometheus reads; nothing about any person is in them.

Open to this machine itself and to whoever shows METRICS_TOKEN. A request that a proxy passed on is not from this machine.
"""

import hmac
import ipaddress
from collections.abc import Iterator

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from tracker.queries.metrics import Figures, figures

FORMAT = "text/plain; version=0.0.4; charset=utf-8"
PASSED_ON = ("X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip", "Forwarded", "Via")

Line = tuple[str, str, str, dict[str, str], float]  # name, kind, help, labels, value


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """The figures as they stand now."""
    if not _may_look(request):
        return HttpResponse("A bearer token is needed.\n", "text/plain", 401, headers={"WWW-Authenticate": "Bearer"})
    return HttpResponse(written_out(lines(figures(timezone.now()))), FORMAT)


def _may_look(request: HttpRequest) -> bool:
    kind, _, token = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() == "bearer" and settings.METRICS_TOKEN:
        return hmac.compare_digest(token.strip().encode(), settings.METRICS_TOKEN.encode())
    if any(name in request.headers for name in PASSED_ON):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


def lines(found: Figures) -> Iterator[Line]:
    """Yield every figure; an age that nothing tells is left out."""
    for state, count in found.by_state.items():
        yield "tracker_outbox_messages", "gauge", "Messages by state.", {"state": state}, count
    oldest = found.oldest_waiting_s
    yield (
        "tracker_outbox_oldest_waiting_seconds",
        "gauge",
        "How long the oldest message that may go out waits.",
        {},
        oldest,
    )
    yield "tracker_outbox_came_back", "gauge", "Messages that came back.", {}, found.came_back
    yield "tracker_owners_unreachable", "gauge", "Owners whose mail address does not work.", {}, found.dead_addresses
    if found.sweep_age_s is not None:
        yield "tracker_sweep_age_seconds", "gauge", "Since the last sweep ended.", {}, found.sweep_age_s
    yield "tracker_sweep_running", "gauge", "1 while a sweep runs.", {}, float(found.running is not None)
    if found.running is not None:
        yield "tracker_sweep_trikes_done", "gauge", "Trikes the running sweep has done.", {}, found.running.trikes_done
        yield "tracker_sweep_trikes", "gauge", "Trikes of the running sweep.", {}, found.running.trikes_total
    for name, age in found.signs_s.items():
        yield "tracker_heartbeat_age_seconds", "gauge", "Since the last sign of life.", {"process": name}, age
    for name, silent in found.silent.items():
        yield (
            "tracker_process_silent",
            "gauge",
            "1 when no sign of life came for three minutes.",
            {"process": name},
            silent,
        )


def written_out(found: Iterator[Line]) -> str:
    """Return the figures in the exposition format: help and type before the first line of a name."""
    text: list[str] = []
    last = ""
    for name, kind, words, labels, value in found:
        if name != last:
            text += [f"# HELP {name} {words}", f"# TYPE {name} {kind}"]
            last = name
        marks = ",".join(f'{label}="{told}"' for label, told in labels.items())
        text.append(f"{name}{{{marks}}} {value:g}" if marks else f"{name} {value:g}")
    return "\n".join(text) + "\n"


urlpatterns = [path("metrics", metrics, name="metrics")]
