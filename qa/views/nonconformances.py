"""Nonconformances: the worked list, also as a file, one item and its verbs."""

from dataclasses import replace
from urllib.parse import urlencode

from django.http import Http404, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from qa.actions import nonconformances as acts
from qa.actions import raising
from qa.forms.nonconformances import (
    AssignForm,
    ByHandForm,
    ByHandJointForm,
    CloseForm,
    ContainForm,
    DisposeForm,
    ExplainForm,
    RemarkForm,
    ReopenForm,
    ReviewForm,
    VerifyForm,
    WorkForm,
)
from qa.models import Joint, Nonconformance
from qa.queries.joints import drawings
from qa.queries.nonconformances import item_pages as queries
from qa.queries.nonconformances import rechecks, reviewing
from qa.rules import item_life
from qa.wording import items as words
from shop import roles
from shop.queries.paging import AT_ONCE, page_of
from shop.queries.signatures import panel_of
from shop.views.acting import attempt, form_page, posted
from shop.views.list_files import format_asked, list_answer, page_asked

from . import list_columns, papers

MOST_ON_PAPER = 2000


def _asked(request) -> QueryDict:
    """What the address asks for, page and format aside; with nothing, what is open."""
    asked = request.GET.copy()
    for name in ("page", "as"):
        asked.pop(name, None)
    return asked or QueryDict("state=unclosed")


def _filtered(request):
    """The filter, its items in the order asked for, and the group asked for."""
    form = ReviewForm(_asked(request), groups=reviewing.GROUPS)
    chosen = form.chosen
    group, order = chosen.pop("group"), chosen.pop("order")
    rows = queries.nonconformances(words=chosen.pop("q"), **chosen)
    rows = reviewing.for_the_stand_up(rows) if order else rows
    return form, rows, group


@require_GET
def nonconformances(request):
    form, rows, group = _filtered(request)
    asked = _asked(request)
    if kind := format_asked(request):  # a group is a way to read a page
        items = (queries.item_row(row) for row in rows.iterator(AT_ONCE))
        return list_answer(request, items, list_columns.NONCONFORMANCES, kind)
    page = None if group else page_of(rows, page_asked(request), queries.item_row)
    context = {
        "filter": form,
        "page": page,
        "groups": reviewing.grouped(rows, group, dict(asked.items())) if group else [],
        "here": "stand-up" if form.chosen["order"] else "list",
        "asked": asked.urlencode(),
        "may_raise": roles.may(request.user, "raise nonconformances"),
        "may_dispose": roles.may(request.user, "dispose nonconformances"),
    }
    return render(request, "qa/nonconformances/nonconformances.html", context)


@papers.of_the_record
def nonconformances_pdf(request):
    form, rows, _group = _filtered(request)
    items = list(rows[:MOST_ON_PAPER].iterator(AT_ONCE))
    data = papers.nonconformance_list(request, items, form)
    return papers.answer(data, "nonconformances.pdf")


# What is most wanted first: what moves an item on, the decision before containment.
ORDER = ("dispose", "work", "verify", "close", "contain", "remark", "explain")
ORDER += ("assign", "reopen")


def _item(request, pk, verb="look") -> Nonconformance:
    return roles.fetch(request.user, verb, queries.whole(), pk=pk)


ACTIONS = {
    "contain": acts.contain,
    "dispose": acts.dispose,
    "work": acts.work,
    "verify": acts.verify,
    "close": acts.close,
    "explain": acts.explain,
    "assign": acts.assign,
    "remark": acts.remark,
    "reopen": acts.reopen,
}
FORMS = {
    "contain": ContainForm,
    "dispose": DisposeForm,
    "work": WorkForm,
    "verify": VerifyForm,
    "close": CloseForm,
    "explain": ExplainForm,
    "assign": AssignForm,
    "remark": RemarkForm,
    "reopen": ReopenForm,
}


def _form(item, person, verb, data=None):
    more = {}
    if verb == "dispose":
        more["dispositions"] = item_life.decidable(item, person)
        more["barred"] = item_life.not_decidable(item, person)
        more["primary"] = item_life.needs_concession(item)
    elif verb == "verify":
        more["rechecks"] = rechecks.possible_rechecks(item)
        more["too_old"] = rechecks.too_old(item)
    elif verb == "explain":
        more["origins"] = queries.origin_choices(item)
    elif verb == "assign":
        more["standing"] = item.standing
    elif verb == "contain":
        may_hold = roles.may(person, "hold things")
        more["holds"] = queries.hold_choices(item) if may_hold else []
    return FORMS[verb](data, prefix=verb, **more)


def _page(request, item, verb="", form=None):
    """The item with one form open, so that sending it loses nothing typed in another:
    that of the verb, else of what moves it on and is this person's. The others are
    links."""
    offered = item_life.offered(item.standing)
    theirs = [
        verb_name
        for verb_name in offered
        if roles.may(request.user, item_life.MOVES[verb_name].right)
    ]
    refused = {
        verb_name: item_life.refusal(item, item.standing, verb_name, request.user)
        for verb_name in theirs
    }
    theirs = [verb_name for verb_name in theirs if not refused[verb_name]]
    first = sorted(theirs, key=ORDER.index)
    if refused.get("close") and "explain" in first:
        first.insert(0, "explain")
    verb = verb or next(iter(first), "")
    view = queries.item_view(item)
    context = {
        "item": item,
        "view": view,
        "row": view.row,
        "map_svg": drawings.map_svg(view.map) if view.map else "",
        "signed": panel_of("disposition", item.pk),
        "verb": verb,
        "said": words.ACTS.get(verb),
        "moves_on": verb in words.MOVES_ON,
        "form": form or (verb and _form(item, request.user, verb)),
        "others": [
            (verb_name, words.ACTS[verb_name])
            for verb_name in theirs
            if verb_name != verb
        ],
        "who": [
            (words.ACTS[verb_name], roles.who_may(item_life.MOVES[verb_name].right))
            for verb_name in offered
            if verb_name not in refused
        ],
        "refused": [why for why in refused.values() if why],
    }
    return render(request, "qa/nonconformances/nonconformance.html", context)


@require_GET
def nonconformance(request, pk):
    return _page(request, _item(request, pk))


@require_http_methods(["GET", "POST"])
def act(request, pk, verb):
    if verb not in ACTIONS:
        raise Http404
    action = ACTIONS[verb]
    item = _item(request, pk, item_life.MOVES[verb].right)
    if request.method == "GET":
        refused = item_life.refusal(item, item.standing, verb, request.user)
        if refused or verb not in item_life.offered(item.standing):
            return redirect("nonconformance", pk=pk)
        return _page(request, item, verb)
    form = _form(item, request.user, verb, request.POST)
    done, _ = attempt(form, lambda **data: action(by=request.user, item=item, **data))
    if done:
        return redirect("nonconformance", pk=pk)
    return _page(request, item, verb, form)


def raise_by_hand(request):
    """Where the address names a joint, at a station or a stretch of it, by its map."""
    roles.require(request.user, "raise nonconformances")
    asked = {"joint", "joint-typed"} & set(request.GET)
    where = ByHandJointForm(request.GET if asked else None, auto_id="map_of_%s")
    joint = where.chosen
    names = ("airframe", "part", "first", "last")
    start = {name: request.GET[name] for name in names if request.GET.get(name)}
    return form_page(
        request,
        ByHandForm(posted(request), joint=joint, initial=start),
        lambda **data: raising.raise_by_hand(by=request.user, **data),
        heading=_("Raise a nonconformance"),
        back=lambda item: reverse("nonconformance", args=[item.pk]),
        above=(_("Nonconformances"), reverse("nonconformances")),
        template="qa/nonconformances/by_hand.html",
        joint=joint,
        where=None if joint else where,
        map_svg=_map_to_choose(joint, start) if joint else "",
    )


def _map_to_choose(joint: Joint, start: dict) -> str:
    """A tap on a station says where it begins, the next one where it ends."""
    revision = joint.current
    revision.joint = joint
    drawn = drawings.map_of(revision, list(revision.stations.all()), bare=True)
    begun = "first" in start and "last" not in start
    names = ("airframe", "part", *(("first",) if begun else ()))
    kept = {name: start[name] for name in names if name in start}
    kept["joint"] = joint.pk
    ends = {start.get("first"), start.get("last")}
    places = [
        replace(
            at,
            active=at.label in ends,
            url="?" + urlencode(kept | {"last" if begun else "first": at.label}),
        )
        for at in drawn.stations
    ]
    return drawings.map_svg(replace(drawn, stations=tuple(places)))
