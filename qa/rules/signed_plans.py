"""What of planning is signed: a plan with its cuts, a correction of a mold.

Names and values are part of the record, as in signed_fits.
"""

from collections.abc import Iterable

from django.urls import reverse
from django.utils.translation import gettext as _

from qa.models import FitPlan, PlanEnding, ToolCorrection
from qa.rules import overtaking
from qa.rules.signed_fits import exactly, plain, serial
from shop.rules.signed_work import name_of
from shop.rules.signing import Content, Signable


def plans(keys: Iterable[int]) -> dict[int, Content]:
    rows = list(
        FitPlan.objects.filter(pk__in=list(keys))
        .select_related("airframe", "part", "entry__by", "end", "end__by_plan")
        .prefetch_related("joints__fit_check__fit_up__joint", "cuts__fit_up__joint")
    )
    changes = overtaking.changes(rows)
    return {row.pk: _plan(row, changes[row.pk]) for row in rows}


def _plan(row: FitPlan, changes) -> Content:
    end = getattr(row, "end", None)
    since = tuple(dict.fromkeys(change.words for change in changes))
    if end:
        # What happens after it was done is what the next plan is for.
        done = end.how == PlanEnding.DONE
        ended = _("the plan was %(how)s") % {"how": end.get_how_display()}
        since = () if done else (ended,)
    return Content(
        what=row.label,
        fields=(
            ("airframe", row.airframe.serial),
            ("part", serial(row.part)),
            (
                "from",
                ", ".join(
                    f"{joint.fit_check.label} at {joint.fit_check.fit_up.joint.number}"
                    for joint in row.joints.all()
                ),
            ),
            ("method", row.method),
            *(
                (
                    f"cut {cut.fit_up.joint.number} {cut.side} {cut.station}, "
                    f"{exactly(cut.s_nm)} along",
                    f"{exactly(cut.bite_nm)} of {exactly(cut.trim_nm)}",
                )
                for cut in row.cuts.all()
            ),
            ("taken by", name_of(row.entry)),
            ("digest of the plan", row.digest),
        ),
        address=reverse("plan_record", args=[row.number]),
        doers=lambda: _doers(row),
        since=since,
    )


def _doers(row: FitPlan) -> set[int]:
    """Keys of who took a plan, and of who cut, moved or set by it."""
    people = {row.entry.by_id}
    for made in (row.made_cuts, row.made_moves, row.made_settings):
        people.update(made.order_by().values_list("entry__by", flat=True))
    return people - {None}


PLAN = Signable(
    "plan",
    "plan/1",
    "plan",
    {
        "performed": "cut parts",
        "inspected": "sign as inspected",
        "approved": "sign as approved",
        "released": "sign as released",
    },
    plans,
)


def corrections(keys: Iterable[int]) -> dict[int, Content]:
    rows = ToolCorrection.objects.filter(pk__in=list(keys)).select_related(
        "tool", "design", "revision__joint", "entry__by", "end__entry__by"
    )
    return {row.pk: _correction(row) for row in rows}


def _correction(row: ToolCorrection) -> Content:
    end = getattr(row, "end", None)
    withdrawn = end and end.how == "withdrawn"
    words = _("withdrawn: %(why)s") % {"why": end.note} if withdrawn else ""
    return Content(
        what=row.label,
        fields=(
            ("mold", row.tool.code),
            ("design", str(row.design)),
            ("joint", row.revision.joint.number),
            ("revision", str(row.revision.number)),
            ("up to pull", str(row.last_pull)),
            ("note", row.note),
            *(
                (
                    f"station {station['label']} {kind}",
                    f"{plain(station[kind]['advice'])}, "
                    f"correction {exactly(station[kind]['correction_nm']) or 'none'}",
                )
                for station in row.content["stations"]
                for kind in ("gap", "flush")
            ),
            ("taken by", name_of(row.entry)),
            ("digest of the correction", row.digest),
        ),
        address=reverse("correction", args=[row.number]),
        # Who took it, and who said that the mold was worked on by it.
        doers=lambda: {row.entry.by_id, *((end.entry.by_id,) if end else ())},
        since=(words,) if words else (),
    )


CORRECTION = Signable(
    "correction",
    "correction/1",
    "correction of a mold",
    {
        "performed": "work on tooling",
        "inspected": "sign as inspected",
        "approved": "correct molds",
        "released": "sign as released",
    },
    corrections,
)

SIGNABLES = (PLAN, CORRECTION)
