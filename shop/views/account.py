"""Signing in and out, and what a person likes to see."""

import time
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.crypto import constant_time_compare
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shop.actions.people import set_units
from shop.actions.second_factor import factor_of, prove_second_factor
from shop.actions.signing_in import change_own_password, prove_password
from shop.context_processors import url_of
from shop.forms.account import (
    THEME_COOKIE,
    AnyCodeForm,
    OwnPasswordForm,
    SignInForm,
    ThemeForm,
    UnitsForm,
)
from shop.ledger import Refused
from shop.models import WAITING, Entry, Person
from shop.numeric.units import S_PER_DAY
from shop.rules.second_factor import PROVEN
from shop.views.acting import form_page, posted
from shop.views.devices import device_of, remember

# In a session: who proved the password and has not shown the code yet.
WAITS, WAITS_SECONDS = "waits", 300
THEME_AGE = 10 * 365 * S_PER_DAY


def back(request) -> str:
    """Return where to go next: the page named by `next`, if it is one of ours."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(
        asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return asked if ours else url_of(settings.LOGIN_REDIRECT_URL) or "/"


def _first(request, person) -> str:
    """Where signing in leads: first to what was claimed in the person's name."""
    onward = back(request)
    page = url_of("claims")
    if page and Entry.objects.filter(WAITING, by=person).exists():
        return f"{page}?{urlencode({'next': onward})}"
    return onward


def let_in(request, person, *, by_code: bool = False):
    """Sign somebody in who has proven all that is asked, and remember the browser."""
    login(request, person)
    if by_code:
        request.session[PROVEN] = True
    return remember(request, HttpResponseRedirect(_first(request, person)), person)


def _ask_for_code(request, person):
    """Keep for a few minutes who proved the password here, and ask for the code."""
    request.session[WAITS] = {
        "person": person.pk,
        "proof": person.get_session_auth_hash(),
        "until": time.time() + WAITS_SECONDS,
    }
    query = urlencode({"next": back(request)})
    return HttpResponseRedirect(f"{reverse('sign_in_code')}?{query}")


def _who_waits(request) -> Person | None:
    """Who proved the password in this browser just now and still may show the code."""
    waits = request.session.get(WAITS)
    if not waits or waits["until"] < time.time():
        return None
    person = Person.objects.filter(pk=waits["person"], is_active=True).first()
    right = person and constant_time_compare(
        person.get_session_auth_hash(), waits["proof"]
    )
    return person if right else None


@login_not_required
@never_cache
@sensitive_post_parameters("code")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_code(request):
    """The second half of signing in, for who has a second factor."""
    person = _who_waits(request)
    if person is None:
        return redirect("sign_in")
    form, status = AnyCodeForm(posted(request)), 200
    if request.method == "POST" and form.is_valid():
        where = whence(request, person.username)
        try:
            if prove_second_factor(person=person, **form.cleaned_data, **where):
                del request.session[WAITS]
                return let_in(request, person, by_code=True)
            form.add_error("code", _("That is not a code that works now."))
        except Refused as no:
            status = 429
            form.add_error(None, no.message)
    context = {"form": form, "next": back(request), "person": person}
    page = "shop/account/sign_in_code.html"
    return render(request, page, context, status=status)


@login_not_required
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request):
    if request.user.is_authenticated and request.method != "POST":
        return HttpResponseRedirect(back(request))
    form, status = SignInForm(posted(request)), 200
    if request.method == "POST" and form.is_valid():
        try:
            name = form.cleaned_data["username"]
            person = prove_password(**form.cleaned_data, **whence(request, name))
        except Refused as no:
            status = 429
            form.add_error(None, no.message)
        else:
            if person and factor_of(person):
                return _ask_for_code(request, person)
            if person:
                return let_in(request, person)
            form.add_error(None, _("That name and password do not match."))
    asked = request.POST.get("next") or request.GET.get("next") or ""
    context = {"form": form, "next": asked}
    return render(request, "shop/account/sign_in.html", context, status=status)


def address(request) -> str:
    """Where a request came from; a header that anybody can write counts for nothing."""
    return request.META.get("REMOTE_ADDR") or ""


def whence(request, username: str) -> dict[str, str]:
    """From where somebody says to be this person: the address, and the browser if they
    were right in it before."""
    return {"address": address(request), "device": device_of(request, username)}


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def own_password(request):
    """One's own password, for everybody; all that opens before it was changed."""

    def change(*, password, new, again):
        person = change_own_password(
            by=request.user,
            password=password,
            new=new,
            **whence(request, request.user.username),
        )
        update_session_auth_hash(request, person)

    must = request.user.must_change_password
    note = _("Somebody else set your password: choose one that only you know.")
    return form_page(
        request,
        OwnPasswordForm(posted(request)),
        change,
        heading=_("Your password"),
        back=url_of(settings.LOGIN_REDIRECT_URL) or "/",
        notes=[note] if must else [],
    )


own_password.opens_before_change = True


@require_POST
def sign_out(request):
    logout(request)
    return redirect("sign_in")


sign_out.opens_before_change = True


@require_POST
def theme(request):
    """Keep the theme with the browser, not the person: a tablet hangs in one light."""
    form = ThemeForm(request.POST)
    response = HttpResponseRedirect(back(request))
    if form.is_valid():
        response.set_cookie(
            THEME_COOKIE,
            form.cleaned_data["theme"],
            max_age=THEME_AGE,
            samesite="Lax",
            secure=request.is_secure(),
        )
    return response


@require_POST
def units(request):
    """Keep the units with the person, who thinks in them at every tablet."""
    form = UnitsForm(request.POST)
    if form.is_valid():
        set_units(request.user, units=form.cleaned_data["units"])
    return HttpResponseRedirect(back(request))
