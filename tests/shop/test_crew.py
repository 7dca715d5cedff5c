"""The lead keeps the people: adds, changes roles, lets in or not, new passwords."""

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from shop.actions import people as actions
from shop.ledger import Refused
from shop.models import Entry, Person, Role
from shop.models.people import PUBLIC_PASSWORD

GOOD = "violet-Spar-44"


def test_a_person_is_added_and_may_sign_in(client_of):
    said = {"username": "mara", "name": "Mara Tolle", "role": "builder"}
    client_of("lead").post(reverse("add_person"), {**said, "password": GOOD})
    assert Client().login(username="mara", password=GOOD)
    assert GOOD not in Entry.objects.get(form="person/1").body


def test_a_weak_password_is_said_beside_its_field(client_of):
    said = {"username": "mara", "name": "Mara", "role": "builder", "password": "12345"}
    page = client_of("lead").post(reverse("add_person"), said)
    assert list(page.context["form"].errors) == ["password"]
    assert not Person.objects.filter(username="mara").exists()


def test_the_demos_password_is_refused_beside_its_field(client_of):
    said = {"username": "mara", "name": "Mara", "role": "builder"}
    said["password"] = PUBLIC_PASSWORD
    page = client_of("lead").post(reverse("add_person"), said)
    assert list(page.context["form"].errors) == ["password"]


def test_a_sign_in_name_exists_once(client_of):
    said = {"username": "builder", "name": "B", "role": "builder", "password": GOOD}
    page = client_of("lead").post(reverse("add_person"), said)
    assert list(page.context["form"].errors) == ["username"]


def test_a_role_is_changed(people):
    actions.change_role(by=people["lead"], person=people["visitor"], role=Role.ENGINEER)
    people["visitor"].refresh_from_db()
    assert people["visitor"].role == Role.ENGINEER


def test_one_lead_remains(people):
    lead = people["lead"]
    for act in (
        lambda: actions.change_role(by=lead, person=lead, role=Role.BUILDER),
        lambda: actions.set_active(by=lead, person=lead, active=False),
    ):
        with pytest.raises(Refused):
            act()
    lead.refresh_from_db()
    assert (lead.role, lead.is_active) == (Role.LEAD, True)


def test_who_left_no_longer_signs_in(people, client_of):
    client = client_of("builder")
    url = reverse("set_active", args=[people["builder"].pk])
    client_of("lead").post(url, {})
    assert client.get(reverse("parts")).status_code == 302


def test_a_new_password_ends_the_sessions_of_the_old(people, client_of):
    client = client_of("builder")
    url = reverse("reset_password", args=[people["builder"].pk])
    client_of("lead").post(url, {"password": GOOD})
    assert client.get(reverse("parts")).status_code == 302
    assert Client().login(username="builder", password=GOOD)


@pytest.mark.parametrize("role", ["builder", "engineer", "inspector", "visitor"])
def test_only_the_lead_keeps_people(people, client_of, role):
    assert client_of(role).get(reverse("people")).status_code == 403
    with pytest.raises(PermissionDenied):
        actions.set_active(by=people[role], person=people["visitor"], active=False)


def test_the_list_shows_and_filters(people, client_of):
    page = client_of("lead").get(reverse("people"), {"role": "lead"})
    assert [row.username for row in page.context["page"]] == ["lead"]
