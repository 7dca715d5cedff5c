"""Signing in and out, and what a person likes to see."""

from django.conf import settings
from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shop.actions.people import set_units
from shop.context import THEME_COOKIE, url_of
from shop.forms.people import ThemeForm, UnitsForm

THEME_AGE = 10 * 365 * 24 * 3600


def _back(request) -> str:
    """Return where to go next: the page named by `next`, if it is one of ours."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(
        asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return asked if ours else url_of(settings.LOGIN_REDIRECT_URL) or "/"


@login_not_required
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request):
    if request.user.is_authenticated and request.method != "POST":
        return HttpResponseRedirect(_back(request))
    form = AuthenticationForm(request, data=request.POST or None)
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        return HttpResponseRedirect(_back(request))
    asked = request.POST.get("next") or request.GET.get("next") or ""
    return render(request, "shop/sign_in.html", {"form": form, "next": asked})


@require_POST
def sign_out(request):
    logout(request)
    return redirect("sign_in")


@require_POST
def theme(request):
    """Keep the theme with the browser, not the person: a tablet hangs in one light."""
    form = ThemeForm(request.POST)
    response = HttpResponseRedirect(_back(request))
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
    return HttpResponseRedirect(_back(request))
