"""Every address of the service."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("", include("tracker.pages.urls")),
    path("", include("tracker.pages.health")),
    path("", include("tracker.pages.metrics")),
    path("o/", include("tracker.pages.owner")),
    path("t/", include("tracker.pages.found")),
    path("api/", include("tracker.api.urls")),
    path("admin/", admin.site.urls),
]

handler400 = "tracker.http.problems.bad_request"
handler403 = "tracker.http.problems.permission_denied"
handler404 = "tracker.http.problems.not_found"
handler500 = "tracker.http.problems.server_error"
