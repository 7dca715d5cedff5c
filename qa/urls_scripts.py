"""The API for gauges and scripts, its description, and the calendar of what is due."""

from django.urls import path

from qa.views import about_api, due_calendar
from qa.views.scripts.access import api, closed


def _of_ours(pattern):
    """An address as the library makes it, under a name of its own, closed."""
    return path(
        f"api/1/{pattern.pattern._route}",
        closed(pattern.callback),
        name=f"script_{pattern.name}",
    )


urlpatterns = [
    path("api/1/openapi.json", about_api.openapi, name="api_description"),
    path("devices/api/", about_api.api_page, name="about_api"),
    path("calendar/<str:token>.ics", due_calendar.feed, name="due_calendar"),
    *(_of_ours(pattern) for pattern in api.urls[0] if pattern.name != "api-root"),
    path("api/1/", about_api.unknown),
    path("api/1/<path:rest>", about_api.unknown, name="script_unknown"),
]
