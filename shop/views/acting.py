"""One way for every form of the shop: parse, do one verb, go on; or say why not."""

from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models.fields import BLANK_CHOICE_DASH
from django.forms import TypedChoiceField
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from shop.forms.fields import choose_the_only
from shop.identifiers import address_of
from shop.ledger import Refused

DASHES = BLANK_CHOICE_DASH[0][1]


def posted(request):
    """What a form was sent with; None when it is only looked at."""
    return request.POST if request.method == "POST" else None


def _blame(form, field: str, message) -> None:
    """Put a message beside the field that caused it, or above the form."""
    if field in form.fields and hasattr(form, "ask_why") and field == "reason":
        form.ask_why()
    form.add_error(field if field in form.fields else None, message)


def attempt(form, act):
    """Run `act(**cleaned)` on a valid form; return (done, result).

    A refusal and a complaint of a model become messages beside their fields, and
    nothing that was typed is lost.
    """
    if not form.is_valid():
        return False, None
    try:
        return True, act(**form.cleaned_data)
    except Refused as no:
        _blame(form, no.field, no.message)
    except ValidationError as no:
        complaints = getattr(no, "message_dict", {NON_FIELD_ERRORS: no.messages})
        for field, messages in complaints.items():
            for message in messages:
                _blame(form, field, message)
    return False, None


def pressed(request, act, there, back):
    """Do what a button without a field asks; go `there` (a callable of what it made),
    or say why not and go `back`."""
    try:
        made = act()
    except Refused as no:
        messages.error(request, no.message)
        return redirect(back)
    except ValidationError as no:
        messages.error(request, " ".join(no.messages))
        return redirect(back)
    return redirect(there(made))


def _name_empty_choices(form) -> None:
    """Say "choose" or "none" where a choice is still empty, instead of dashes."""
    for field in form.fields.values():
        wanted = field.required or getattr(field, "asked", False)
        word = _("choose") if wanted else _("none")
        if getattr(field, "empty_label", None) == DASHES:
            field.empty_label = word
        elif isinstance(field, TypedChoiceField):
            field.choices = [
                (value, word if label == DASHES else label)
                for value, label in field.choices
            ]


def form_page(request, form, act, *, heading, back, above=None, success="", **extra):
    """Draw a form; after a valid POST run `act` and go to `back` (a url or a callable
    of the result). `above` is (label, url) of the page this one belongs to; `success`
    is said there (a text or a callable of the result), where that page does not show by
    itself what was done."""
    if request.method == "POST":
        done, result = attempt(form, act)
        if done:
            if success:
                sentence = success(result) if callable(success) else success
                messages.success(request, sentence)
            return redirect(back(result) if callable(back) else back)
    _name_empty_choices(form)
    choose_the_only(form)
    context = {"form": form, "heading": heading, "above": above, **extra}
    return render(request, extra.get("template", "shop/acting/form.html"), context)


def act_page(request, row, form, act, heading, *, back=None, **extra):
    """Draw a form that acts on `row`; afterwards go to its page (or to `back`).

    act takes the form's values and the person as `by`.
    """
    page = address_of(row)
    return form_page(
        request,
        form,
        lambda **data: act(by=request.user, **data),
        heading=heading,
        back=back or page,
        above=(str(row), page),
        **extra,
    )
