"""The chain with what qa knows: the checks and the items of what was reached.

The shop's chain ends at parts, positions and airframes. Here the fit checks and the
nonconformances of those parts are added below, and a check, an item, a joint or an
instrument can be the start itself.
"""

from dataclasses import replace

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from qa.models import Check, FitUp, Nonconformance
from shop.queries.genealogy import ChainPage, Group, Linked, chain_page
from shop.rules.reach import ORDER, reach

MOST = 60
STARTS = (*(kind for kind in ORDER if kind not in ("person", "touched", "placement")),)
QA_STARTS = ("joint", "instrument", "check", "nonconformance")


def chain(kind: str, row, most: int | None = None) -> ChainPage:
    """Both directions of the chain of a thing: a constant number of statements.

    most: how many rows of a kind to show, the newest; None for all.
    """
    if kind in STARTS:
        up, down = reach(kind, row.pk, down=False), reach(kind, row.pk, down=True)
    else:
        up, down = _above(kind, row), {name: set() for name in ORDER}
    page = chain_page(kind, row, up, down, most)
    checks, items = _judged(kind, row, down["part"])
    more = [_checks(checks, most), _items(items, most)]
    return replace(page, down=[*page.down, *(group for group in more if group.count)])


def _above(kind: str, row) -> dict[str, set[int]]:
    """What the parts of a check or an item came from, with the parts themselves."""
    keys_above: dict[str, set[int]] = {name: set() for name in ORDER}
    if kind == "check":
        parts = {row.fit_up.part_id, row.fit_up.surround_part_id}
    else:
        parts = {row.part_id} if kind == "nonconformance" else set()
    for part in parts - {None}:
        for name, keys in reach("part", part, down=False).items():
            keys_above[name] |= keys
        keys_above["part"].add(part)
    return keys_above


def _judged(kind: str, row, parts: set[int]) -> tuple[QuerySet, QuerySet]:
    """Checks and items of what a thing reached, itself included."""
    if kind == "check":
        return Check.objects.none(), row.nonconformances.all()
    if kind == "nonconformance":
        return Check.objects.none(), Nonconformance.objects.none()
    if kind == "instrument":
        return row.checks.all(), Nonconformance.objects.filter(
            fit_check__instrument=row
        )
    if kind in ("joint", "airframe"):
        return (
            Check.objects.filter(**{f"fit_up__{kind}": row}),
            Nonconformance.objects.filter(**{kind: row}),
        )
    parts = parts | {row.pk} if kind == "part" else parts
    fits = FitUp.objects.filter(Q(part__in=parts) | Q(surround_part__in=parts))
    checks = Check.objects.filter(fit_up__in=fits.values("pk"))
    return checks, Nonconformance.objects.filter(part__in=parts)


def _checks(rows: QuerySet, most: int | None) -> Group:
    rows = rows.order_by("-pk")
    shown = rows.select_related(
        "state",
        "fit_up__joint",
        "fit_up__airframe",
        "fit_up__part",
        "entry__by",
        "entry__confirmation",
    )[:most]
    return Group(
        "check",
        _("Fit checks"),
        [_check(row) for row in shown],
        rows.count(),
    )


def _check(check: Check) -> Linked:
    fit, failing = check.fit_up, check.state.does_not_conform
    words = [fit.airframe.serial, fit.joint.number, fit.part.serial, check.entry.author]
    words_told = ", ".join(str(word) for word in words if word)
    marked = ("does_not_conform", f"{failing} not conforming") if failing else ("", "")
    return Linked(
        check.pk,
        check.label,
        words_told,
        reverse("check", args=[check.entry_id]),
        *marked,
    )


def _items(rows: QuerySet, most: int | None) -> Group:
    rows = rows.order_by("-pk")
    shown = rows.select_related("standing", "airframe")[:most]
    return Group(
        "nonconformance",
        _("Nonconformances"),
        [_item(row) for row in shown],
        rows.count(),
    )


def _item(nonconformance: Nonconformance) -> Linked:
    url = reverse("nonconformance", args=[nonconformance.pk])
    standing = nonconformance.standing
    label = f"{nonconformance.airframe.serial} {nonconformance.label}"
    return Linked(
        nonconformance.pk,
        label,
        nonconformance.title,
        url,
        standing.state,
        standing.get_state_display(),
    )
