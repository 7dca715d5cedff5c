"""What the fits of its parts say of a mold, and its corrections."""

from functools import partial

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from qa.actions import tool_corrections
from qa.forms.molds import (
    CorrectionDoneForm,
    CorrectionEndForm,
    MoldAskForm,
    OnPlugForm,
    TakeCorrectionForm,
)
from qa.models import ToolCorrection
from qa.queries.molds import corrections, fits, plugs
from shop import roles
from shop.ledger import Refused
from shop.models import Tool, ToolKind
from shop.queries.signatures import panel_of
from shop.views.acting import form_page, posted

from .joints import unit_of

HARMS = gettext_lazy(
    "Dust, solvents and resins can hurt: the safety data sheet of the product is the "
    "authority."
)
TOOLS = Tool.objects.select_related("plug", "mirror", "design")


def panel(request, tool: Tool):
    """What is known of a mold by its parts' fits, on its own page, and of a plug by the
    corrections of its molds."""
    if tool.kind == ToolKind.PLUG:
        content = plugs.corrections_of_plug(tool, unit_of(request))
        context = {"plug": tool, "corrections": content}
        return ("qa/molds/plug_panel.html", context) if content else None
    if not fits.may_pull(tool):
        return None
    unit = unit_of(request)
    content = fits.panel(tool, unit)
    page = content.shown
    if page is None and content.corrected:
        rows = ToolCorrection.objects.select_related(*corrections.RELATED)
        page = corrections.correction_page(rows.get(pk=content.corrected.pk), unit)
    return "qa/molds/panel.html", {"panel": content, "page": page, "tool": tool}


def _page(request, pk, joint, design, verb="look"):
    """The tool, the form and the page, as they are asked for."""
    tool = roles.fetch(request.user, verb, TOOLS, pk=pk)
    unit, key = unit_of(request), (joint, design)
    page = fits.fits_page(tool, key, None, unit)
    if page is None:
        raise Http404
    form = MoldAskForm(
        request.GET or None,
        pulls=page.pulls,
        openings=page.openings,
        initial={"unit": unit},
    )
    if form.choice:
        page = fits.fits_page(tool, key, form.choice, unit)
    return tool, form, page


@require_GET
def mold_fits(request, pk, joint, design):
    tool, form, page = _page(request, pk, joint, design)
    context = {"tool": tool, "form": form, "page": page}
    if page.draft:
        start = {"digest": page.draft.digest}
        context["take"] = TakeCorrectionForm(initial=start)
    return render(request, "qa/molds/fits.html", context)


@require_POST
def take_correction(request, pk, joint, design):
    """Freeze what the page showed; where it has changed since, it is shown again."""
    tool, _form, page = _page(request, pk, joint, design, "correct molds")
    back = f"{reverse('mold_fits', args=[pk, joint, design])}?{request.GET.urlencode()}"
    form = TakeCorrectionForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Look at it again, and take it then."))
        return redirect(back)
    if page.draft is None or page.draft.digest != form.cleaned_data["digest"]:
        messages.error(request, _("This changed while it was looked at. Look again."))
        return redirect(back)
    try:
        row = tool_corrections.take(
            by=request.user, correction=page.draft, note=form.cleaned_data["note"]
        )
    except Refused as no:
        messages.error(request, no.message)
        return redirect(back)
    return redirect("correction", number=row.number)


def _row(request, number, verb="look") -> ToolCorrection:
    rows = ToolCorrection.objects.select_related(*corrections.RELATED)
    return roles.fetch(request.user, verb, rows, number=number)


@require_GET
def correction(request, number):
    row = _row(request, number)
    page = corrections.correction_page(row, unit_of(request))
    context = {"page": page, "row": row, "cuts": not corrections.nothing_to_cut(page)}
    context["signed"] = panel_of("correction", row.pk)
    return render(request, "qa/molds/correction.html", context)


def _end(request, number, verb, act, form=CorrectionEndForm, **words_of_page):
    row = _row(request, number, verb)
    page = reverse("correction", args=[number])
    if form is CorrectionDoneForm:
        form = partial(form, row=row)
    return form_page(
        request,
        form(posted(request)),
        lambda **typed: act(row, **typed),
        back=page,
        above=(row.label, page),
        **{name: words % {"label": row.label} for name, words in words_of_page.items()},
    )


def correction_done(request, number):
    """The mold was corrected: a repair of it."""

    def act(row, **typed):
        page = corrections.correction_page(row, row.revision.units)
        tool_corrections.record_done(
            by=request.user,
            correction=row,
            what=page.what,
            place=page.places,
            **typed,
        )

    words = {"heading": _("%(label)s is done"), "button": _("Record this repair")}
    words |= {"form": CorrectionDoneForm}
    return _end(request, number, "work on tooling", act, caution=HARMS, **words)


def correction_on_plug(request, number):
    """The plug was corrected where all of its molds show it: a repair of the plug."""

    def act(row, **typed):
        place = plugs.of_plug(row, row.revision.units)
        tool_corrections.record_on_plug(
            by=request.user,
            correction=row,
            what=place.what if place else "",
            place=place.places if place else "",
            **typed,
        )

    page = {
        "heading": _("The plug was corrected by %(label)s"),
        "button": _("Record this repair of the plug"),
    }
    page |= {"form": OnPlugForm, "caution": HARMS}
    return _end(request, number, "work on tooling", act, **page)


def withdraw_correction(request, number):
    act = partial(tool_corrections.withdraw, by=request.user)
    return _end(
        request,
        number,
        "correct molds",
        lambda row, note: act(correction=row, note=note),
        heading=_("Withdraw %(label)s"),
        button=_("Withdraw it"),
    )
