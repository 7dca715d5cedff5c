"""Hole patterns: list, requirement, what was measured, two serials together."""

from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from qa.actions import holes as acts
from qa.actions import raising
from qa.files import hole_drawing
from qa.forms.holes import HoleCheckForm, PatternForm, StackForm
from qa.models import HoleCheck, HolePattern
from qa.queries import holes as queries
from shop import roles
from shop.forms.fields import choose_the_only, number_in
from shop.queries.paging import page_of
from shop.queries.tooling import photos_of
from shop.views.acting import attempt, form_page, posted, pressed
from shop.views.list_files import list_page, page_asked

from . import list_columns, papers


def _files(request):
    return request.FILES if request.method == "POST" else None


@require_GET
def patterns(request):
    roles.require(request.user, "look")
    words = request.GET.get("q", "")[:80]
    page = page_of(queries.patterns(words), page_asked(request), lambda row: row)
    context = {
        "page": page,
        "words": words,
        "may_define": roles.may(request.user, "define holes"),
    }
    file = list_columns.HOLE_PATTERNS
    return list_page(request, "qa/holes/hole_patterns.html", context, file)


def _pattern(request, pk, verb="look") -> HolePattern:
    rows = HolePattern.objects.exclude(current=None).select_related(
        "joint", "design", "mate", "current__entry__by"
    )
    return roles.fetch(request.user, verb, rows, pk=pk)


@require_GET
def pattern(request, pk, number=None):
    row = _pattern(request, pk)
    revision = row.current
    if number is not None and number != revision.number:
        revision = row.revisions.select_related("entry__by").filter(number=number)
        if not revision:
            raise Http404
        revision = revision[0]
    context = {
        "view": queries.pattern_view(row, revision, request.user.units),
        "photos": photos_of("hole_pattern", row.pk),
        "may_define": roles.may(request.user, "define holes"),
        "may_measure": roles.may(request.user, "measure"),
    }
    return render(request, "qa/holes/hole_pattern.html", context)


@require_GET
def pattern_dxf(request, pk, number):
    """The holes of a revision as a drawing, which can be read again."""
    row = _pattern(request, pk)
    revision = get_object_or_404(row.revisions, number=number)
    data = hole_drawing.write(revision.holes.all())
    name = f"{papers.plain_name(row.number)}-{revision.number}.dxf"
    return papers.answer(data, name, "image/vnd.dxf")


def new_pattern(request):
    roles.require(request.user, "define holes")
    start = {"units": request.user.units, "table": "hole,x_mm,y_mm,zone_mm\n"}
    form = PatternForm(posted(request), _files(request), initial=start)

    def act(number, name, joint, design, mate, **_data):
        return acts.define_pattern(
            by=request.user,
            number=number,
            name=name,
            joint=joint,
            design=design,
            mate=mate,
            holes=form.holes,
            says=form.says,
        )

    return form_page(
        request,
        form,
        act,
        heading=_("Define a hole pattern"),
        back=lambda row: reverse("hole_pattern", args=[row.pk]),
        above=(_("Holes"), reverse("hole_patterns")),
    )


def revise_pattern(request, pk):
    row = _pattern(request, pk, "define holes")
    form = PatternForm(posted(request), _files(request), revision=row.current)
    based_on = number_in(request.POST.get("based_on")) or 0
    here = reverse("hole_pattern", args=[row.pk])

    def act(**_data):
        return acts.revise_pattern(
            by=request.user,
            pattern=row,
            based_on=based_on,
            holes=form.holes,
            says=form.says,
        )

    if request.method == "POST":
        done, _revision = attempt(form, act)
        if done:
            return redirect(here)
    context = {"form": form, "pattern": row, "back": here}
    return render(request, "qa/holes/revise_pattern.html", context)


def new_hole_check(request, pk):
    row = _pattern(request, pk, "measure")
    holes = list(row.current.holes.all())
    form = HoleCheckForm(
        posted(request),
        _files(request),
        holes=holes,
        initial={"unit": request.user.units},
    )

    def act(part, instrument, note, **_data):
        return acts.record_holes(
            by=request.user,
            revision=row.current,
            part=part,
            instrument=instrument,
            note=note,
            measured=form.measured,
        )

    if request.method == "POST":
        done, check = attempt(form, act)
        if done:
            return redirect("hole_check", uuid=check.entry_id)
    choose_the_only(form, "instrument")
    return render(
        request,
        "qa/holes/new_hole_check.html",
        {"form": form, "pattern": row, "unit": request.user.units},
    )


@require_GET
def hole_check(request, uuid):
    rows = HoleCheck.objects.select_related(*queries.RELATED)
    check = roles.fetch(request.user, "look", rows, entry_id=uuid)
    other = None
    if asked := request.GET.get("with", ""):
        same = HoleCheck.objects.filter(revision=check.revision_id)
        other = get_object_or_404(
            same.select_related("part").exclude(pk=check.pk),
            pk=number_in(asked),
        )
    stack = StackForm(request.GET or None, initial={"unit": request.user.units})
    typed = stack.cleaned_data if stack.is_valid() else {}
    grip = typed.get("grip") or [None]
    view = queries.hole_view(
        check,
        request.user.units,
        other=other,
        stack_mm=typed.get("stack"),
        grip_mm=grip[0],
    )
    may_raise = roles.may(request.user, "raise nonconformances")
    context = {"view": view, "stack": stack, "may_raise": may_raise}
    return render(request, "qa/holes/hole_check.html", context)


@require_POST
def raise_holes(request, uuid):
    """What fails in a check of holes becomes an item, for somebody to decide."""
    rows = HoleCheck.objects.select_related(*queries.RELATED)
    check = roles.fetch(request.user, "raise nonconformances", rows, entry_id=uuid)
    return pressed(
        request,
        lambda: raising.raise_holes(by=request.user, check=check),
        lambda item: reverse("nonconformance", args=[item.pk]),
        reverse("hole_check", args=[uuid]),
    )
