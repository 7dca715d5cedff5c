"""Signing in and out, and what a person likes to see."""

from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shop.actions.people import set_units
from shop.actions.signing_in import change_own_password, prove_password
from shop.context_processors import url_of
from shop.forms.account import (
    THEME_COOKIE,
    OwnPasswordForm,
    SignInForm,
    ThemeForm,
    UnitsForm,
)
from shop.ledger import Refused
from shop.models import WAITING, Entry
from shop.numeric.units import S_PER_DAY
from shop.views.acting import form_page, posted
from shop.views.devices import device_of, remember

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
            if person:
                login(request, person)
                onward = HttpResponseRedirect(_first(request, person))
                return remember(request, onward, person)
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
