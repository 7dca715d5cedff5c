"""Holds, labels, and the short addresses on the labels."""

from django.urls import path

from shop.views import holds, labels

urlpatterns = [
    path("chain/<slug:kind>/<int:pk>/hold/", holds.put_on_hold, name="put_on_hold"),
    path("holds/", holds.holds, name="holds"),
    path("holds/<int:pk>/", holds.hold, name="hold"),
    path("holds/<int:pk>/lift/", holds.lift_hold, name="lift_hold"),
    path("suspects/<int:pk>/decide/", holds.decide, name="decide"),
    path("labels/", labels.labels, name="labels"),
    path("t/<slug:code>", labels.scan, name="scan"),
]
