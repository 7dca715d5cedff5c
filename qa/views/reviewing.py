"""Reviewing many nonconformances: what comes most often, what a mold repeats, several
decided as one thing."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from qa.actions import nonconformances as acts
from qa.forms.nonconformances import DisposeForm, NonconformanceFilter
from qa.queries.nonconformances import item_pages as queries
from qa.queries.nonconformances import reviewing
from qa.rules import item_life
from shop import roles
from shop.forms.fields import number_in
from shop.queries.paging import all_of
from shop.views.acting import attempt, posted
from shop.views.list_files import list_page

from . import list_columns

MOST_TOGETHER = 50


@require_GET
def most_often(request):
    """A Pareto of the items of a filter, and a table that says the same."""
    roles.require(request.user, "look")
    asked = {k: v for k, v in request.GET.items() if k not in ("by", "page", "as")}
    asked = asked or {"state": "unclosed"}
    form = NonconformanceFilter(asked)
    chosen = form.chosen
    by = request.GET.get("by")
    by = by if by in reviewing.GROUPS else "kind"
    rows = queries.nonconformances(words=chosen.pop("q"), **chosen)
    counts = reviewing.often(rows, by, asked)
    context = {
        "filter": form,
        "counts": counts,
        "by": by,
        "groups": reviewing.GROUPS,
        "most": reviewing.MOST,
        "page": all_of(reviewing.in_percent(counts)),
        "chart_svg": reviewing.chart(counts),
    }
    file = list_columns.MOST_OFTEN
    return list_page(request, "qa/nonconformances/most_often.html", context, file)


@require_GET
def repeats(request):
    """What repeats on one mold from pull to pull, open and closed items alike."""
    roles.require(request.user, "look")
    groups = reviewing.repeats(queries.nonconformances())
    context = {"page": all_of(groups), "most": reviewing.MOST}
    file = list_columns.REPEATS
    return list_page(request, "qa/nonconformances/repeats.html", context, file)


@require_http_methods(["GET", "POST"])
def together(request):
    """Several items decided in one act, because they are one thing."""
    roles.require(request.user, "dispose nonconformances")
    chosen = {number_in(item) for item in request.GET.getlist("item")} - {None}
    rows = queries.whole().order_by("pk")
    items = list(rows.filter(pk__in=chosen)[:MOST_TOGETHER])
    form = DisposeForm(
        posted(request),
        dispositions=item_life.dispositions_of(request.user),
        barred=item_life.engineers_only(request.user),
        primary=any(item_life.needs_concession(item) for item in items),
    )
    if request.method == "POST" and items:
        done, _none = attempt(
            form,
            lambda **data: acts.dispose_all(by=request.user, items=items, **data),
        )
        if done:
            numbers = ", ".join(item.label for item in items)
            messages.success(request, _("Decided: %(numbers)s.") % {"numbers": numbers})
            return redirect(f"{reverse('nonconformances')}?state=dispositioned")
    context = {
        "rows": [queries.item_row(item) for item in items],
        "form": form,
        "asked": request.GET.urlencode(),
        "left_out": len(chosen) > MOST_TOGETHER and MOST_TOGETHER,
        "late": [
            item.label for item in items if not item_life.undecided(item.standing)
        ],
    }
    return render(request, "qa/nonconformances/together.html", context)
