"""What needs proof beside gap and flushness, and what stands before closed."""

from django.urls import path

from qa.views import characteristics, close_outs

urlpatterns = [
    path("airframes/<int:pk>/close-out/", close_outs.page, name="close_out_airframe"),
    path(
        "airframes/<int:pk>/close-out/bay/<int:bay>/",
        close_outs.page,
        name="close_out_bay",
    ),
    path(
        "airframes/<int:pk>/close-out/joint/<int:joint>/",
        close_outs.page,
        name="close_out_joint",
    ),
    path(
        "airframes/<int:pk>/close-out.pdf",
        close_outs.pdf,
        name="close_out_airframe_pdf",
    ),
    path(
        "airframes/<int:pk>/close-out/bay/<int:bay>.pdf",
        close_outs.pdf,
        name="close_out_bay_pdf",
    ),
    path(
        "airframes/<int:pk>/close-out/joint/<int:joint>.pdf",
        close_outs.pdf,
        name="close_out_joint_pdf",
    ),
    path("characteristics/", characteristics.characteristics, name="characteristics"),
    path(
        "characteristics/new/",
        characteristics.new_characteristic,
        name="new_characteristic",
    ),
    path(
        "characteristics/<int:pk>/",
        characteristics.characteristic,
        name="characteristic",
    ),
    path(
        "characteristics/<int:pk>/revise/",
        characteristics.revise_characteristic,
        name="revise_characteristic",
    ),
    path(
        "characteristics/<int:pk>/on/<int:airframe>/",
        characteristics.characteristic_on_airframe,
        name="characteristic_on_airframe",
    ),
    path(
        "characteristics/results/<int:pk>/",
        characteristics.characteristic_result,
        name="characteristic_result",
    ),
    path(
        "characteristics/results/<int:pk>/raise/",
        characteristics.raise_result,
        name="raise_result",
    ),
]
