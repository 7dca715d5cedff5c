"""Nonconformances: the worked list, one item and its verbs, PDF and CSV."""

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
from qa.queries import nonconformances as queries
from shop import roles
from shop.queries.paging import page_of
from shop.views.acting import attempt, form_page

from . import papers


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
    return render(request, "qa/nonconformances.html", context)


@require_GET
def nonconformances_pdf(request):
    form, rows = _filtered(request)
    listed = [queries.item_row(row) for row in rows[:2000]]
    data = papers.nonconformance_list(request, listed, form)
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


def _forms(item, data=None, verb="") -> dict:
    """The forms that the item's state offers; the one sent keeps what was typed."""
    offered = {
        "open": ("dispose", "remark"),
        "dispositioned": ("close", "reopen", "remark"),
        "closed": ("reopen", "remark"),
    }[item.standing.state]
    made = {}
    for name in {*offered, *([verb] if verb else [])}:
        sent = data if name == verb else None
        made[name] = {
            "dispose": DisposeForm,
            "reopen": ReopenForm,
            "remark": RemarkForm,
        }.get(name, CloseForm)(
            sent,
            prefix=name,
            **(
                {"rechecks": queries.possible_rechecks(item)} if name == "close" else {}
            ),
        )
    return made


def _page(request, item, forms):
    permitted = {
        name: form
        for name, form in forms.items()
        if roles.may(request.user, VERBS[name][0])
    }
    context = {
        "item": item,
        "row": queries.item_row(item),
        "history": queries.history(item),
        "forms": permitted,
    }
    return render(request, "qa/nonconformance.html", context)


@require_GET
def nonconformance(request, pk):
    item = _item(request, pk)
    return _page(request, item, _forms(item))


@require_http_methods(["POST"])
def act(request, pk, verb):
    permission, action = VERBS[verb]
    item = _item(request, pk, permission)
    forms = _forms(item, request.POST, verb)
    done, _ = attempt(
        forms[verb], lambda **said: action(by=request.user, item=item, **said)
    )
    if done:
        return redirect("nonconformance", pk=pk)
    return _page(request, item, forms)


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
