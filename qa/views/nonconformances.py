"""Nonconformances: the worked list, one item and its verbs, PDF and CSV."""

from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from qa.actions import nonconformances as acts
from qa.forms.nonconformances import (
    ByHandForm,
    CloseForm,
    DisposeForm,
    NonconformanceFilter,
    RemarkForm,
    ReopenForm,
)
from qa.models import Nonconformance
from qa.queries.checks.photos import photos_of_item
from qa.queries.nonconformances import item_pages as queries
from shop import roles
from shop.queries.paging import page_of
from shop.views.acting import attempt, form_page

from . import papers

MOST_ON_PAPER = 2000


def _filtered(request):
    form = NonconformanceFilter(request.GET or {"state": "unclosed"})
    chosen = form.chosen
    return form, queries.nonconformances(words=chosen.pop("q"), **chosen)


@require_GET
def nonconformances(request):
    form, rows = _filtered(request)
    page = page_of(rows, request.GET.get("page"), queries.item_row)
    context = {
        "filter": form,
        "page": page,
        "asked": request.GET.urlencode(),
        "may_raise": roles.may(request.user, "raise nonconformances"),
    }
    return render(request, "qa/nonconformances/nonconformances.html", context)


@papers.of_the_record
def nonconformances_pdf(request):
    form, rows = _filtered(request)
    data = papers.nonconformance_list(request, list(rows[:MOST_ON_PAPER]), form)
    return papers.answer(data, "nonconformances.pdf")


@require_GET
def nonconformances_csv(request):
    _form, rows = _filtered(request)
    return papers.nonconformance_csv(queries.item_row(row) for row in rows)


def _item(request, pk, verb="look") -> Nonconformance:
    rows = Nonconformance.objects.select_related(*queries.RELATED)
    return roles.fetch(request.user, verb, rows, pk=pk)


VERBS = {
    "dispose": ("dispose nonconformances", acts.dispose),
    "close": ("close nonconformances", acts.close),
    "reopen": ("close nonconformances", acts.reopen),
    "remark": ("comment", acts.remark),
}


OFFERED = {
    "open": ("dispose", "remark"),
    "dispositioned": ("close", "remark", "reopen"),
    "closed": ("remark", "reopen"),
}
FORMS = {"dispose": DisposeForm, "close": CloseForm}
FORMS |= {"reopen": ReopenForm, "remark": RemarkForm}


def _form(item, person, verb, data=None):
    more = {
        "dispose": {"dispositions": acts.dispositions_of(person)},
        "close": {"rechecks": queries.possible_rechecks(item)},
    }
    return FORMS[verb](data, prefix=verb, **more.get(verb, {}))


def _page(request, item, verb="", form=None):
    """The item with one form open, so that sending it loses nothing typed in another:
    that of the verb, else of the first that is this person's. The others are links."""
    offered = dict.fromkeys([*OFFERED[item.standing.state], *([verb] if verb else [])])
    theirs = [name for name in offered if roles.may(request.user, VERBS[name][0])]
    verb = verb or next(iter(theirs), "")
    context = {
        "item": item,
        "row": queries.item_row(item),
        "history": queries.history(item),
        "photos": photos_of_item(item),
        "verb": verb,
        "form": form or (verb and _form(item, request.user, verb)),
        "others": [name for name in theirs if name != verb],
        "who": {
            name: roles.who_may(VERBS[name][0])
            for name in offered
            if name not in theirs
        },
    }
    return render(request, "qa/nonconformances/nonconformance.html", context)


@require_GET
def nonconformance(request, pk):
    return _page(request, _item(request, pk))


@require_http_methods(["GET", "POST"])
def act(request, pk, verb):
    if verb not in VERBS:
        raise Http404
    permission, action = VERBS[verb]
    item = _item(request, pk, permission)
    if request.method == "GET":
        if verb not in OFFERED[item.standing.state]:
            return redirect("nonconformance", pk=pk)
        return _page(request, item, verb)
    form = _form(item, request.user, verb, request.POST)
    done, _ = attempt(form, lambda **said: action(by=request.user, item=item, **said))
    if done:
        return redirect("nonconformance", pk=pk)
    return _page(request, item, verb, form)


def raise_by_hand(request):
    roles.require(request.user, "raise nonconformances")
    return form_page(
        request,
        ByHandForm(request.POST or None),
        lambda **said: acts.raise_by_hand(by=request.user, **said),
        heading="Raise a nonconformance",
        back=lambda item: reverse("nonconformance", args=[item.pk]),
        above=("Nonconformances", reverse("nonconformances")),
    )
