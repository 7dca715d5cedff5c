"""What next for a part that was checked: plan, papers, release, and what was done."""

import math

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
)

from qa.actions import habits, moving, trimming
from qa.actions.trimming import Taken
from qa.forms.plans import HabitsForm, MoveForm, PlanForm, ReleaseForm, TrimForm
from qa.models import Check, PlanHabits, Side, TemplatePrint
from qa.queries import planning, plans
from qa.queries.planning import Wish
from shop import roles
from shop.forms.fields import number_in
from shop.ledger import Refused
from shop.views.acting import attempt, form_page, posted

from . import papers


def _check(request, uuid, verb="look") -> Check:
    rows = Check.objects.select_related(*planning.RELATED)
    return roles.fetch(request.user, verb, rows, entry_id=uuid)


def _unit(request) -> str:
    asked = request.GET.get("unit")
    return asked if asked in ("mm", "in") else request.user.units


def _planned(request, uuid, verb="look"):
    """The options asked for in the address, and the plan they give."""
    unit = _unit(request)
    form = PlanForm(request.GET or None, initial={"unit": unit})
    wish = Wish(form.side_wished, form.limits) if request.GET else None
    return form, plans.plan_view(_check(request, uuid, verb), unit, wish)


def _where(name, uuid, request) -> str:
    asked = request.GET.urlencode()
    return reverse(name, args=[uuid]) + (f"?{asked}" if asked else "")


def _back_to_joint(check: Check) -> str:
    fit_up = check.fit_up
    return reverse("joint_on_airframe", args=[fit_up.joint_id, fit_up.airframe_id])


@require_GET
def plan(request, uuid):
    form, view = _planned(request, uuid)
    check = view.worked.check
    context = {
        "form": form,
        "view": view,
        "check": check,
        "fit_up": check.fit_up,
        "asked": request.GET.urlencode(),
        "prints": planning.prints_of(check),
        "releases": view.worked.to_release(),
        "may_cut": roles.may(request.user, "cut parts") and view.worked.live,
        "may_release": roles.may(request.user, "release cuts"),
        "back": _back_to_joint(check),
    }
    return render(request, "qa/plan.html", context)


@require_GET
def work_order(request, uuid):
    # reportlab is slow to import and most pages never print.
    from qa.paper import work_order as paper  # noqa: PLC0415
    from qa.queries import plan_papers  # noqa: PLC0415

    _form, view = _planned(request, uuid)
    if view.worked.plan is None:
        raise Http404(view.worked.problem)
    check = view.worked.check
    last = check.state.last_entry or check.entry
    url = request.build_absolute_uri(_where("check_plan", uuid, request))
    order = plan_papers.work_order(view, url, last.received_at)
    data = paper.render(order, papers.paper_of(request))
    return papers.answer(data, f"{check.label}-work-order.pdf")


@require_http_methods(["GET", "POST"])
def template(request, uuid):
    """POST prints and records; GET draws what was recorded (?print=, else the last)."""
    if request.method == "POST":
        return _print_template(request, uuid)
    from qa.queries import plan_papers  # noqa: PLC0415

    check = _check(request, uuid)
    rows = TemplatePrint.objects.filter(fit_check=check).order_by("-id")
    asked = number_in(request.GET.get("print"))
    row = rows.first() if asked is None else rows.filter(pk=asked).first()
    if row is None:
        raise Http404
    data = plan_papers.printed(row)
    return papers.answer(data, f"{check.label}-template.pdf")


def _print_template(request, uuid):
    from qa.queries import plan_papers  # noqa: PLC0415

    _form, view = _planned(request, uuid, "cut parts")
    check = view.worked.check
    back = redirect(_where("check_plan", uuid, request))
    url = request.build_absolute_uri(reverse("check_plan", args=[uuid]))
    try:
        _refuse_history(view)
        edges = plan_papers.edges_of(view, url)
        if not edges:
            raise Refused(_("Nothing is to be cut: there is no template to print."))
        paper, now = papers.paper_of(request), timezone.now()
        row = trimming.record_template(
            by=request.user,
            check=check,
            edges=edges,
            paper=paper,
            issued_at=now,
            data=plan_papers.template_pdf(edges, now, paper),
            cut=[
                (joint.check.fit_up, joint.check, side)
                for joint, side in view.worked.cut_sides()
            ],
        )
    except (Refused, ValueError) as no:
        messages.error(request, str(no))
        return back
    where = reverse("plan_template", args=[uuid])
    return redirect(f"{where}?print={row.pk}")


def _refuse_history(view) -> None:
    if view.worked.plan is None:
        raise Refused(view.worked.problem)
    if not view.worked.live:
        raise Refused(
            _("The part changed since this check: measure again before the next step."),
            code="stale",
        )


def trim(request, uuid):
    """Say what came off; this opens the next fit-up."""
    _form, view = _planned(request, uuid, "cut parts")
    check, worked = view.worked.check, view.worked
    rows = [row for row in view.rows if row.side in Side.values]
    move = plans.moved(worked, view.unit) if worked.plan else None
    form = TrimForm(
        posted(request),
        rows=rows,
        move_words=move.words if move else "",
        unit=view.unit,
    )

    def act(moved, note, **_said):
        _refuse_history(view)
        by_uuid = {str(one.entry_id): one for one in view.checks}
        taken = [
            Taken(
                check=by_uuid[row.check],
                station=row.label,
                side=row.side,
                value=text,
                unit=form.unit_said,
                planned_nm=row.bite_nm,
            )
            for row, text in form.said()
        ]
        return trimming.record_trim(
            by=request.user,
            checks=view.checks,
            taken=taken,
            moved=move if moved == "yes" else None,
            note=note,
        )

    if request.method == "POST":
        done, _opened = attempt(form, act)
        if done:
            told = _("Recorded. Measure again: witnesses first.")
            if form.cleaned_data.get("moved") == "yes":
                told = _("Recorded. It was moved: measure every station again.")
            messages.success(request, told)
            return redirect(_back_to_joint(check))
    context = {
        "form": form,
        "view": view,
        "check": check,
        "fit_up": check.fit_up,
        "releases": [one for one in worked.to_release() if not one[2]],
        "plan_url": _where("check_plan", uuid, request),
    }
    return render(request, "qa/plan_trim.html", context)


def move(request, uuid):
    """Say how far the part was moved, nothing cut; this opens the next fit-up."""
    _form, view = _planned(request, uuid, "cut parts")
    worked = view.worked
    motions = []
    if worked.plan:
        motions = [
            (name.replace("_", " "), amount, motion.turns)
            for (name, amount), motion in zip(
                worked.plan.move.amounts, worked.plan.move.motions, strict=True
            )
        ]
    form = MoveForm(posted(request), motions=motions, unit=view.unit)

    def act(note, **_said):
        _refuse_history(view)
        raw = [
            math.radians(amount) if turns else amount
            for amount, (_label, _amount, turns) in zip(
                form.amounts, motions, strict=True
            )
        ]
        made = plans.moved(worked, view.unit, raw)
        if made is None:
            raise Refused(_("Nothing was moved: there is nothing to record."))
        return moving.record_move(
            by=request.user, checks=view.checks, moved=made, note=note
        )

    return form_page(
        request,
        form,
        act,
        heading=_("Record a move of %(part)s") % {"part": worked.check.fit_up.part},
        back=_back_to_joint(worked.check),
        above=(_("Plan"), _where("check_plan", uuid, request)),
        notes=[
            _("As planned: %(words)s.") % {"words": "; ".join(view.moves) or _("stay")},
            _("Right, up and out of the skin are as the joint is drawn. Every station "
              "of this part is stale after it."),
        ],
        button=_("Record this move"),
    )  # fmt: skip


def release(request, uuid):
    """The engineer lets primary structure be cut."""
    _form, view = _planned(request, uuid, "release cuts")
    waiting = [one for one in view.worked.to_release() if not one[2]]
    here = _where("check_plan", uuid, request)
    if not waiting:
        messages.info(request, _("Nothing here waits for a release."))
        return redirect(here)

    def act(note):
        for part, check, _done in waiting:
            trimming.release_cut(by=request.user, check=check, part=part, note=note)

    names = ", ".join(part.serial for part, _check, _done in waiting)
    return form_page(
        request,
        ReleaseForm(posted(request)),
        act,
        heading=_("Release the cut of %(parts)s") % {"parts": names},
        back=here,
        above=(_("Plan"), here),
        caution=_(
            "This is primary structure. The release is about this plan only; whether "
            "the structure may be changed belongs to the design authority."
        ),
        button=_("Release this cut"),
    )


def plan_habits(request):
    """How this shop plans: the next bite, the least cut, how far parts may go."""
    roles.require(request.user, "set planning habits")
    row = PlanHabits.objects.first() or PlanHabits()
    form = HabitsForm(
        posted(request), initial=HabitsForm.initial_of(row, request.user.units)
    )
    return form_page(
        request,
        form,
        lambda **_said: habits.set_habits(by=request.user, **form.said()),
        heading=_("How this shop plans"),
        back=reverse("plan_habits"),
        above=(_("Fit checks"), reverse("checks")),
    )
