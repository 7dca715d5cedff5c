"""A joint over parts: which stations fail, and one place or mode over parts, with what
people write on its points."""

from urllib.parse import urlencode

from django.http import Http404
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from qa.actions import chart_notes
from qa.forms.charts import ChartForm, NoteForm, OtherNoteForm
from qa.models import Joint, Kind
from qa.numeric.measuring.modes import Mode
from qa.queries.joints import chart_sheets
from qa.queries.joints import over_parts as queries
from qa.queries.joints.part_charts import Way
from qa.rules.over_parts import Which
from shop import roles
from shop.forms.fields import number_in
from shop.views.acting import form_page, posted

from . import papers
from .joints import unit_of

JOINTS = Joint.objects.exclude(current=None).select_related(
    "type", "position", "surround", "current"
)


def _which(request) -> Which:
    asked = request.GET.get("which", "")
    return Which(asked) if asked in set(Which) else Which.FIRST


def _way(request) -> Way:
    return Way.asked(*(request.GET.get(name, "") for name in ("rules", "by", "spread")))


@require_GET
def over_parts(request, pk):
    joint = roles.fetch(request.user, "look", JOINTS, pk=pk)
    page = queries.over_page(joint, _which(request), unit_of(request))
    return render(request, "qa/over_parts/joint.html", {"page": page, "joint": joint})


@require_GET
def place(request, pk, label, kind):
    joint, page = _series(request, pk, label=label, kind=kind)
    return _shown(request, joint, page)


@require_GET
def mode(request, pk, mode):
    joint, page = _series(request, pk, mode=mode)
    return _shown(request, joint, page)


def _series(request, pk, *, label="", kind="", mode=""):
    """(joint, page) of the place or mode that an address names."""
    joint = roles.fetch(request.user, "look", JOINTS, pk=pk)
    asked = _which(request), unit_of(request), _way(request)
    page = None
    if mode in set(Mode):
        page = queries.mode_page(joint, Mode(mode), *asked)
    elif kind in Kind.values:
        page = queries.place_page(joint, label, kind, *asked)
    if page is None:
        raise Http404
    return joint, page


def _shown(request, joint, page):
    which = _which(request)
    start = {"which": which, **vars(_way(request))}
    context = {
        "page": page,
        "joint": joint,
        "which": which,
        "asked": urlencode(start),
        "form": ChartForm(start, initial=start),
        "may_write": roles.may(request.user, "comment"),
    }
    return render(request, "qa/over_parts/series.html", context)


@require_GET
def chart_paper(request, pk, **about):
    # reportlab is slow to import and most pages never print.
    from qa.paper import chart_sheet as paper  # noqa: PLC0415

    joint, page = _series(request, pk, **about)
    if not page.count:
        raise Http404
    url = request.build_absolute_uri(_address(request, pk, **about))
    sheet = chart_sheets.paper_of(page, _which(request), url, request.user.name)
    data = paper.render(sheet, papers.paper_of(request))
    return papers.answer(data, papers.plain_name(f"{page.title}-charts") + ".pdf")


def chart_note(request, pk, **about):
    """Write on a point; ?replace=KEY writes one anew."""
    roles.require(request.user, "comment")
    joint, page = _series(request, pk, **about)
    back = _address(request, pk, **about)
    above = {"back": back, "above": (page.title, back)}
    replaced = request.GET.get("replace")
    if replaced is not None:
        shown = {written.note.pk: written.note for written in page.written}
        note = shown.get(number_in(replaced))
        if note is None:
            raise Http404
        start = OtherNoteForm.initial_of(note)
        return form_page(
            request,
            OtherNoteForm(posted(request), initial=start),
            lambda **data: chart_notes.replace_note(by=request.user, note=note, **data),
            heading=_("Change a note"),
            **above,
        )
    form = NoteForm(posted(request), reads=page.reads, of=page.of, row=page.row)
    return form_page(
        request,
        form,
        lambda **data: chart_notes.write_note(by=request.user, **data),
        heading=_("Write on a point of the chart"),
        **above,
    )


def _address(request, pk, **about) -> str:
    """The page of the charts, asked for as it was."""
    name = "over_parts_mode" if "mode" in about else "over_parts_place"
    asked = {"which": _which(request), **vars(_way(request))}
    return f"{reverse(name, kwargs={'pk': pk, **about})}?{urlencode(asked)}"
