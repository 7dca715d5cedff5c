"""Airframes, their types and positions, part designs, part serials, people."""

from django.urls import path

from shop.views import airframes, parts, people

urlpatterns = [
    path("airframes/", airframes.airframes, name="airframes"),
    path("airframes/add/", airframes.add_airframe, name="add_airframe"),
    path("airframes/<int:pk>/", airframes.airframe, name="airframe"),
    path("airframes/<int:pk>/place/", airframes.place_part, name="place_part"),
    path(
        "airframes/<int:pk>/empty/<int:position>/",
        airframes.leave_empty,
        name="leave_empty",
    ),
    path(
        "airframes/placements/<int:pk>/remove/",
        airframes.remove_part,
        name="remove_part",
    ),
    path("airframes/types/add/", airframes.add_type, name="add_airframe_type"),
    path("airframes/types/<int:pk>/", airframes.airframe_type, name="airframe_type"),
    path(
        "airframes/types/<int:pk>/positions/add/",
        airframes.add_position,
        name="add_position",
    ),
    path(
        "airframes/positions/<int:pk>/change/",
        airframes.change_position,
        name="change_position",
    ),
    path("parts/designs/", parts.designs, name="designs"),
    path("parts/designs/add/", parts.add_design, name="add_design"),
    path("parts/designs/<int:pk>/", parts.design, name="design"),
    path("parts/designs/<int:pk>/change/", parts.change_design, name="change_design"),
    path("parts/", parts.parts, name="parts"),
    path("parts/add/", parts.add_part, name="add_part"),
    path("parts/<int:pk>/", parts.part, name="part"),
    path("parts/<int:pk>/scrap/", parts.scrap_part, name="scrap_part"),
    path("people/", people.people, name="people"),
    path("people/add/", people.add_person, name="add_person"),
    path("people/<int:pk>/role/", people.change_role, name="change_role"),
    path(
        "people/<int:pk>/certificate/",
        people.set_certificate,
        name="set_certificate",
    ),
    path("people/<int:pk>/active/", people.set_active, name="set_active"),
    path("people/<int:pk>/try-again/", people.try_again, name="try_again"),
    path("people/<int:pk>/password/", people.reset_password, name="reset_password"),
]
