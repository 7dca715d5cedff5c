"""The tablet's shell: the same bytes at every address below it."""

from django.urls import path, re_path

from qa.views import tablet, tablets

urlpatterns = [
    path("tablets/", tablets.tablets, name="tablets"),
    path("tablets/recover/", tablets.recover, name="recover_tablet"),
    path("tablets/<uuid:pk>/revoke/", tablets.revoke_tablet, name="revoke_tablet"),
    path("pin/", tablets.own_pin, name="own_pin"),
    path("tablet/sw.js", tablet.service_worker, name="service_worker"),
    path("tablet/manifest.webmanifest", tablet.manifest, name="tablet_manifest"),
    path(
        "tablet/release/<str:digest>/<path:name>",
        tablet.release_file,
        name="tablet_file",
    ),
    path("tablet/", tablet.shell, name="tablet"),
    re_path(r"^tablet/.+$", tablet.shell),
]
