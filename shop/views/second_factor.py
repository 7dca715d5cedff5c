"""A second factor: setting one's own, its recovery codes, and resetting another's."""

from django.contrib import messages
from django.forms import Form
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from shop import roles
from shop.actions import second_factor as actions
from shop.forms.account import AnyCodeForm, SetSecondFactorForm
from shop.models import Person
from shop.queries.second_factor import view_of
from shop.rules import second_factor as rules

from .account import whence
from .acting import attempt, form_page, posted
from .airframes import form_view


def _here(request) -> str:
    return request.session.session_key or ""


def _told(request, codes: list[str]):
    """Show recovery codes, now and never again."""
    return render(request, "shop/account/recovery_codes.html", {"codes": codes})


@sensitive_post_parameters()
@form_view
def second_factor(request):
    """One's own: what there is, else a picture for a device and a field."""
    roles.require(request.user, "set own preferences")
    view = view_of(request.user)
    if view:
        return render(request, "shop/account/second_factor.html", {"view": view})
    form = SetSecondFactorForm(
        posted(request), initial={"offered": rules.offer(request.user)}
    )
    if request.method == "POST":
        done, codes = attempt(
            form,
            lambda **data: actions.set_second_factor(
                by=request.user, here=_here(request), **data
            ),
        )
        if done:
            request.session[rules.PROVEN] = True
            return _told(request, codes)
    return _offer(request, form)


second_factor.opens_before_code = True


def _offer(request, form):
    from shop.paper.qr import matrix  # noqa: PLC0415 -- reportlab

    secret = rules.opened(request.user, form["offered"].value(), rules.OFFER_SECONDS)
    if secret is None:
        # Open for too long, or not made here: another one.
        form.data = {**form.data.dict(), "offered": rules.offer(request.user)}
        secret = rules.opened(request.user, form["offered"].value())
    rows = matrix(rules.address_of(secret, request.user, request.shop.name))
    wanted = request.shop.second_factor and rules.is_wanted_of(request.user)
    context = {
        "form": form,
        "wanted": wanted,
        "spelled": " ".join(secret[i : i + 4] for i in range(0, len(secret), 4)),
        "side": len(rows) + 8,
        "dark": "".join(
            f"M{i + 4} {j + 4}h1v1h-1z"
            for j, row in enumerate(rows)
            for i, dark in enumerate(row)
            if dark
        ),
    }
    return render(request, "shop/account/set_second_factor.html", context)


def _code_page(request, act, heading: str, button: str):
    """A form that takes a code; `act` gives the answer."""
    page = reverse("second_factor")
    form = AnyCodeForm(posted(request))
    if request.method == "POST":
        where = whence(request, request.user.username)
        done, result = attempt(
            form, lambda code: act(by=request.user, code=code, **where)
        )
        if done:
            return result
    context = {
        "form": form,
        "heading": heading,
        "above": (_("Your second factor"), page),
        "button": button,
    }
    return render(request, "shop/acting/form.html", context)


@sensitive_post_parameters("code")
@form_view
def recovery_codes(request):
    roles.require(request.user, "set own preferences")
    if view_of(request.user) is None:
        return redirect("second_factor")
    return _code_page(
        request,
        lambda **data: _told(request, actions.renew_recovery_codes(**data)),
        _("New recovery codes"),
        _("Make new ones"),
    )


@sensitive_post_parameters("code")
@form_view
def remove_second_factor(request):
    roles.require(request.user, "set own preferences")
    if view_of(request.user) is None:
        return redirect("second_factor")

    def remove(**proof):
        actions.remove_second_factor(here=_here(request), **proof)
        request.session.pop(rules.PROVEN, None)
        messages.success(request, _("Your second factor is taken away."))
        return redirect("second_factor")

    return _code_page(
        request, remove, _("Take away your second factor"), _("Take it away")
    )


@form_view
def reset_second_factor(request, pk):
    person = roles.fetch(request.user, "manage people", Person.objects, pk=pk)
    return form_page(
        request,
        Form(posted(request)),
        lambda: actions.reset_second_factor(by=request.user, person=person),
        heading=_("Reset the second factor of %(name)s") % {"name": person.name},
        back=reverse("people"),
        above=(_("People"), reverse("people")),
        button=_("Reset"),
        success=_("The second factor of %(name)s is reset.") % {"name": person.name},
        notes=[
            _("Be sure who asks: from now on the password alone lets them in, until "
              "they set another. Their sessions end.")
        ],
    )  # fmt: skip
