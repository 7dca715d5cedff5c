"""Temporary items: the list, what must come off, one item, the holes of a pattern."""

from dataclasses import replace
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from qa.actions import temporary as acts
from qa.forms.temporary import (
    HolesForm,
    PutInForm,
    StepForm,
    TemporaryFilter,
    WhereForm,
)
from qa.models import HolePattern, Joint
from qa.queries import temporary as queries
from qa.queries import temporary_holes
from qa.queries.joints import drawings
from qa.views import papers
from shop import roles
from shop.forms.fields import number_in
from shop.models import Airframe, TemporaryItem, TemporaryKind, TemporaryVerb
from shop.queries.paging import all_of, page_of
from shop.rules import temporary as rules
from shop.views.acting import attempt, form_page, posted
from shop.views.list_files import list_page, page_asked
from shop.wording import temporary as wording

from . import list_columns

HANDLE = "handle temporary items"


@require_safe
def items(request):
    roles.require(request.user, "look")
    form = TemporaryFilter(request.GET)
    chosen = dict(form.chosen)
    which = chosen.pop("which") or "all"
    page = page_of(queries.items(which, **chosen), page_asked(request), queries.row_of)
    context = {"page": page, "filter": form}
    file = list_columns.TEMPORARY_ITEMS
    return list_page(request, "qa/temporary/items.html", context, file)


@require_http_methods(["GET", "HEAD", "POST"])
def put_in(request):
    """The airframe by the address; the form says what, where, how many and why."""
    roles.require(request.user, HANDLE)
    where = WhereForm(request.GET or None)
    if not where.is_valid():
        return render(request, "qa/temporary/choose.html", {"form": where})
    airframe = where.cleaned_data["airframe"]
    names = ("bay", "joint", "kind", "place")
    start = {name: request.GET.get(name) for name in names}
    form = PutInForm(
        posted(request),
        airframe=airframe,
        initial={name: value for name, value in start.items() if value},
    )
    page = reverse("must_come_off", args=[airframe.pk])
    return form_page(
        request,
        form,
        lambda **data: acts.put_in(by=request.user, airframe=airframe, **data),
        heading=_("Put in for a while: %(airframe)s") % {"airframe": airframe},
        back=page,
        above=(airframe.serial, page),
        button=_("It is in"),
        template="qa/temporary/put_in.html",
        map_svg=_map_of(request, airframe),
    )


def _map_of(request, airframe: Airframe) -> str:
    """The map of the joint that the address names: a tap says at which station."""
    joints = Joint.objects.filter(type=airframe.type_id).exclude(current=None)
    key = number_in(request.GET.get("joint"))
    joint = joints.select_related("current").filter(pk=key or 0).first()
    if joint is None:
        return ""
    revision = joint.current
    revision.joint = joint
    stations = list(revision.stations.all())
    query = {"airframe": airframe.pk, "joint": joint.pk, "bay": joint.position_id}
    drawn = drawings.map_of(revision, stations, bare=True)
    places = [
        replace(
            at, url="?" + urlencode(query | {"place": f"{_('station')} {at.label}"})
        )
        for at in drawn.stations
    ]
    return drawings.map_svg(replace(drawn, stations=tuple(places)))


def _item(request, pk, verb="look") -> TemporaryItem:
    rows = TemporaryItem.objects.select_related(*queries.RELATED)
    return roles.fetch(request.user, verb, rows, pk=pk)


@require_safe
def item(request, pk):
    view = queries.item_page(_item(request, pk))
    kind = view.item.kind
    refused = {
        verb: rules.refusal(view.item, verb, request.user)
        for verb, _count in view.acts
        if roles.may(request.user, rules.MOVES[verb].right)
    }
    acts_now = [
        (verb, wording.act(verb, kind)) for verb, why in refused.items() if not why
    ]
    context = {
        "view": view,
        "row": view.row,
        "began": wording.began(kind),
        "steps": [(step, wording.done(step.verb, kind)) for step in view.steps],
        "acts": acts_now,
        "refused": [why for why in refused.values() if why],
        "releases": roles.who_may("release temporary items"),
    }
    return render(request, "qa/temporary/item.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def act(request, pk, verb):
    roles.require(request.user, HANDLE)
    if verb not in rules.MOVES:
        raise Http404
    row = _item(request, pk, rules.MOVES[verb].right)
    leaves = "inside" in rules.MOVES[verb].come_from
    spots = row.state.spots if leaves else []
    there = rules.can_move(row.kind, row.state, verb)
    form = StepForm(
        posted(request),
        spots=spots,
        asks_why=verb == TemporaryVerb.RELEASE,
        initial={
            "count": there or None,
            "spots": spots,
            "based_on": row.state.last_entry_id,
        },
    )
    word = wording.act(verb, row.kind)
    return form_page(
        request,
        form,
        lambda **_: acts.step(by=request.user, item=row, verb=verb, **form.arguments),
        heading=f"{word}: {row.label} {row.what}",
        back=reverse("must_come_off", args=[row.airframe_id]),
        above=(row.label, reverse("temporary_item", args=[row.pk])),
        button=word,
    )


def _airframe(request, pk, verb="look") -> Airframe:
    rows = Airframe.objects.select_related("type")
    return roles.fetch(request.user, verb, rows, pk=pk)


@require_safe
def must_come_off(request, pk):
    airframe = _airframe(request, pk)
    view = queries.must_come_off(airframe)
    context = {
        "view": view,
        "page": all_of(view.rows),
        "airframe": airframe,
        "patterns": temporary_holes.patterns_of(airframe),
        "may_handle": roles.may(request.user, HANDLE),
    }
    file = replace(
        list_columns.TEMPORARY_ITEMS,
        name=papers.plain_name(f"{airframe.serial}-must-come-off"),
        title=_("Must come off %(serial)s") % {"serial": airframe.serial},
    )
    return list_page(request, "qa/temporary/must_come_off.html", context, file)


@papers.of_the_record
def must_come_off_pdf(request, pk):
    airframe = _airframe(request, pk)
    name = papers.plain_name(f"{airframe.serial}-must-come-off")
    return papers.answer(papers.must_come_off(request, airframe), f"{name}.pdf")


@require_http_methods(["GET", "HEAD", "POST"])
def holes(request, pk, pattern):
    """The holes of a pattern on one airframe: tap those that it is about."""
    airframe = _airframe(request, pk, "look" if request.method != "POST" else HANDLE)
    rows = HolePattern.objects.exclude(current=None).select_related(
        "joint__position", "design", "mate", "current"
    )
    row = get_object_or_404(rows, pk=pattern)
    view = temporary_holes.holes_now(airframe, row)
    form = HolesForm(posted(request), holes=[hole.label for hole in view.holes])
    if request.method == "POST":
        done, made = attempt(form, lambda **data: _of_holes(request, view, **data))
        if done:
            messages.success(request, made)
            return redirect("temporary_holes", pk=pk, pattern=pattern)
    boxes = list(zip(form["spots"], view.holes, strict=True))
    context = {
        "view": view,
        "form": form,
        "boxes": boxes,
        "airframe": airframe,
        "pattern": row,
        "may_handle": roles.may(request.user, HANDLE),
    }
    return render(request, "qa/temporary/holes.html", context)


def _of_holes(request, view, spots, size, why, verb) -> str:
    at = {"by": request.user, "airframe": view.airframe, "pattern": view.pattern}
    if verb == "take_out":
        acts.take_out_of_holes(**at, spots=spots, note=why)
        return _("%(count)s out.") % {"count": len(spots)}
    if view.bay is None:
        raise Http404
    made = acts.put_in(
        **at,
        bay=view.bay,
        joint=view.pattern.joint,
        kind=TemporaryKind.CLECO,
        count=len(spots),
        size=size,
        spots=spots,
        why=why,
    )
    return _("%(count)s in, as %(item)s.") % {"count": len(spots), "item": made.label}
