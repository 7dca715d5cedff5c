"""What is on an airframe for a while only."""

from django.urls import path

from qa.views import temporary

urlpatterns = [
    path("temporary/", temporary.items, name="temporary_items"),
    path("temporary/new/", temporary.put_in, name="put_in"),
    path("temporary/<int:pk>/", temporary.item, name="temporary_item"),
    path("temporary/<int:pk>/<slug:verb>/", temporary.act, name="temporary_act"),
    path(
        "airframes/<int:pk>/temporary/", temporary.must_come_off, name="must_come_off"
    ),
    path(
        "airframes/<int:pk>/temporary.pdf",
        temporary.must_come_off_pdf,
        name="must_come_off_pdf",
    ),
    path(
        "airframes/<int:pk>/temporary/holes/<int:pattern>/",
        temporary.holes,
        name="temporary_holes",
    ),
]
