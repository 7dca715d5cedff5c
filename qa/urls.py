"""What qa shows and takes."""

from django.urls import include, path

from qa.views import api

api_urls = [
    path("session", api.session, name="api_session"),
    path("acts/<uuid:act>", api.act, name="api_act"),
    path("have", api.have, name="api_have"),
    path("checks/<uuid:check>", api.check, name="api_check"),
]

urlpatterns = [
    path("api/", include(api_urls)),
]
