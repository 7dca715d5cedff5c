"""The whole site, grouped by what it is about."""

from django.urls import include, path

urlpatterns = [
    # First: a tablet's acts, the most of all that is asked, are found at once.
    path("api/", include("qa.urls_api")),
    path("", include("shop.urls_open")),
    path("", include("shop.urls_people")),
    path("", include("shop.urls_airframes")),
    path("", include("shop.urls_floor")),
    path("", include("shop.urls_chain")),
    path("", include("shop.urls_signatures")),
    path("", include("qa.urls")),
]

handler400 = "shop.views.errors.bad_request"
handler500 = "shop.views.errors.server_error"
