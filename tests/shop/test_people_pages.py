"""At the door: signing in and out, the theme of a browser, the units of a person."""

import pytest
from django.urls import reverse

from shop.context_processors import places
from shop.forms.account import THEME_COOKIE
from shop.models import Person
from tests.around import by_hand

pytestmark = pytest.mark.django_db
PASSWORD = "thin-lines-and-ink"


@pytest.fixture
def mira():
    with by_hand():
        return Person.objects.create_user(
            "mira", PASSWORD, name="Mira Holt", role="lead"
        )


def sign_in(client, **extra):
    said = {"username": "mira", "password": PASSWORD, **extra}
    return client.post("/sign-in/", said)


def test_the_door_is_open_to_everybody(client):
    assert client.get("/sign-in/").status_code == 200


def test_a_person_signs_in_and_goes_where_they_wanted(client, mira):
    response = sign_in(client, next="/units/?a=1")
    assert response.status_code == 302
    assert response["Location"] == "/units/?a=1"
    assert client.session["_auth_user_id"] == str(mira.pk)


@pytest.mark.parametrize(
    "elsewhere",
    ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"],
)
def test_signing_in_never_leads_to_another_site(client, mira, elsewhere):
    response = sign_in(client, next=elsewhere)
    assert response["Location"] == "/"


def test_a_wrong_password_says_so_and_signs_nobody_in(client, mira):
    response = sign_in(client, password="wrong")
    page = response.content.decode()
    assert 'role="alert"' in page
    assert "<title>Error: Sign in" in page
    assert "_auth_user_id" not in client.session


def test_a_person_who_left_cannot_sign_in(client, mira):
    mira.is_active = False
    with by_hand():
        mira.save(update_fields=["is_active"])
    assert "_auth_user_id" not in (sign_in(client) and client.session)


def test_who_is_signed_in_already_is_not_asked_again(client, mira):
    client.force_login(mira)
    response = client.get("/sign-in/", {"next": "/units/"})
    assert response["Location"] == "/units/"


def test_signing_out_takes_a_press_of_the_button(client, mira):
    client.force_login(mira)
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert "_auth_user_id" not in client.session


def test_the_theme_is_kept_by_the_browser_and_drawn_by_the_server(client, mira):
    client.force_login(mira)
    response = client.post("/screen/", {"theme": "dark", "next": "/sign-in/"})
    assert response["Location"] == "/sign-in/"
    assert client.cookies[THEME_COOKIE].value == "dark"
    client.logout()
    client.cookies[THEME_COOKIE] = "dark"
    assert 'data-theme="dark"' in client.get("/sign-in/").content.decode()


def test_an_unknown_theme_changes_nothing(client, mira):
    client.force_login(mira)
    client.post("/screen/", {"theme": "sepia"})
    assert THEME_COOKIE not in client.cookies
    client.cookies[THEME_COOKIE] = '"><script>'
    assert 'data-theme="auto"' in client.get("/nowhere/").content.decode()


def test_a_person_chooses_the_units_they_think_in(client, mira):
    client.force_login(mira)
    client.post("/units/", {"units": "in"})
    mira.refresh_from_db()
    assert mira.units == "in"
    client.post("/units/", {"units": "cubit"})
    mira.refresh_from_db()
    assert mira.units == "in"


@pytest.mark.parametrize("address", ["/screen/", "/units/", "/sign-out/"])
def test_preferences_need_a_person(client, address):
    assert client.post(address)["Location"].startswith("/sign-in/?next=")


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ("/nonconformances/12/", "/nonconformances/"),
        ("/offers/4/1/", "/fit-checks/"),
        ("/gauge-studies/", "/fit-checks/"),
        ("/plans/3/", "/fit-checks/"),
        ("/packs/2/read/", "/airframes/"),
        ("/positions/2/held/", "/joints/"),
        ("/molds/4/fits/1/", "/tooling/"),
        ("/sessions/", None),
    ],
)
def test_the_place_a_page_lies_under_is_current(path, place):
    assert next((p.url for p in places(path) if p.current), None) == place


def test_a_form_sent_without_its_token_says_what_to_do(mira, settings):
    from django.test import Client

    strict = Client(enforce_csrf_checks=True)
    response = strict.post("/sign-in/", {"username": "mira", "password": PASSWORD})
    assert response.status_code == 403
    assert "This form is out of date" in response.content.decode()


def test_what_the_lead_did_to_somebody_is_said_on_the_list(people, client_of):
    lead, name = client_of("lead"), people["builder"].name
    strong = "violet-Spar-44"
    new = {"username": "mara", "name": "Mara Tolle", "role": "builder"}
    done = {
        "add_person": ({**new, "password": strong}, "Mara Tolle is added."),
        "change_role": ({"role": "inspector"}, f"The role of {name} is saved."),
        "set_certificate": ({}, f"The certificate of {name} is saved."),
        "reset_password": ({"password": strong}, f"{name} has a new password."),
        "set_active": ({"active": ""}, f"{name} may not sign in."),
    }
    for view, (typed, sentence) in done.items():
        keys = [] if view == "add_person" else [people["builder"].pk]
        page = lead.post(reverse(view, args=keys), typed, follow=True)
        assert page.redirect_chain == [(reverse("people"), 302)]
        assert sentence in page.content.decode()
