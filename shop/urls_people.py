"""People at the door and their preferences."""

from django.urls import path

from shop.views import (
    account,
    audit,
    backups,
    health,
    identity,
    people,
    second_factor,
    sessions,
    tokens,
)

urlpatterns = [
    path("sign-in/", account.sign_in, name="sign_in"),
    path("sign-in/code/", account.sign_in_code, name="sign_in_code"),
    path("second-factor/", second_factor.second_factor, name="second_factor"),
    path("second-factor/codes/", second_factor.recovery_codes, name="recovery_codes"),
    path(
        "second-factor/remove/",
        second_factor.remove_second_factor,
        name="remove_second_factor",
    ),
    path(
        "people/<int:pk>/second-factor/",
        second_factor.reset_second_factor,
        name="reset_second_factor",
    ),
    path("sign-out/", account.sign_out, name="sign_out"),
    path("password/", account.own_password, name="own_password"),
    path("sessions/", sessions.sessions, name="sessions"),
    path("sessions/end/", sessions.end_sessions, name="end_sessions"),
    path("sessions/<slug:handle>/end/", sessions.end_session, name="end_session"),
    path("people/<int:pk>/sessions/", sessions.sessions, name="person_sessions"),
    path(
        "people/<int:pk>/sessions/end/",
        sessions.end_sessions,
        name="end_person_sessions",
    ),
    path(
        "people/<int:pk>/sessions/<slug:handle>/end/",
        sessions.end_session,
        name="end_person_session",
    ),
    path("people/door/", audit.audit, name="audit"),
    path("people/let-in/", people.let_address_in, name="let_address_in"),
    path("screen/", account.theme, name="theme"),
    path("units/", account.units, name="units"),
    path("shop/", identity.shop_identity, name="shop_identity"),
    path("server/", health.server, name="server"),
    path("health/details", health.health_details, name="health_details"),
    path("backups/", backups.backups, name="backups"),
    path("backups/plan/", backups.plan_backups, name="plan_backups"),
    path("backups/now/", backups.back_up_now, name="back_up_now"),
    path("devices/", tokens.devices, name="devices"),
    path("devices/new/", tokens.new_device, name="new_device"),
    path("devices/calendar/", tokens.new_calendar, name="new_calendar"),
    path("devices/<uuid:pk>/", tokens.withdraw_device, name="withdraw_device"),
]
