"""What tablets ask and send."""

from django.urls import path

from qa.views import api, api_photos, api_tablets

urlpatterns = [
    path("session", api.session, name="api_session"),
    path("acts", api.acts, name="api_acts"),
    path("acts/<uuid:act>", api.act, name="api_act"),
    path("have", api.have, name="api_have"),
    path("checks/<uuid:check>", api.check, name="api_check"),
    path("checks/<uuid:check>/next", api_tablets.next_work, name="api_next"),
    path("studies/<uuid:uuid>", api_tablets.study_turns, name="api_study"),
    path("carry", api.carry, name="api_carry"),
    path("tablets", api_tablets.enroll, name="api_enroll"),
    path("prove", api_tablets.prove, name="api_prove"),
    path("claims", api_tablets.claims, name="api_claims"),
    path("recover", api_tablets.recover, name="api_recover"),
    path("photos/<uuid:photo>", api_photos.photo, name="api_photo"),
]
