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
    require_POST,
)

from qa.actions import fit_plans, moves, trimming
from qa.actions.planning_defaults import set_plan_defaults
from qa.actions.trimming import Taken
from qa.forms.plans import (
    MoveForm,
    PlanDefaultsForm,
    PlanForm,
    ReasonForm,
    ReleaseForm,
    TrimForm,
)
from qa.models import Check, CutRelease, FitPlan, PlanDefaults, Side, TemplatePrint
from qa.queries import plan_records, plans
from qa.rules import planning
from qa.rules.planning import Wish
from shop import roles
from shop.ledger import Refused
from shop.views.acting import attempt, form_page, posted

from . import papers


def _check(request, uuid, verb="look") -> Check:
    rows = Check.objects.select_related(*planning.RELATED)
    return roles.fetch(request.user, verb, rows, entry_id=uuid)


def _unit(request) -> str:
    asked = request.GET.get("unit")
    return asked if asked in ("mm", "in") else request.user.units


def _wish(request) -> tuple[PlanForm, Wish | None]:
    """What is wished in the address; None when it is what the shop usually does."""
    form = PlanForm(request.GET or None, initial={"unit": _unit(request)})
    if not request.GET or not (form.side_wished or form.limits or form.errors):
        return form, None
    return form, Wish(form.side_wished, form.limits)


def _where(name, uuid, request) -> str:
    asked = request.GET.urlencode()
    return reverse(name, args=[uuid]) + (f"?{asked}" if asked else "")


def _back_to_joint(check: Check) -> str:
    fit_up = check.fit_up
    return reverse("joint_on_airframe", args=[fit_up.joint_id, fit_up.airframe_id])


@require_GET
def plan(request, uuid):
    """The plan on record for a check; one worked out now where there is none, where
    something else is wished, or where it is asked for again."""
    check = _check(request, uuid)
    form, wish = _wish(request)
    again = wish or "again" in request.GET
    record = None if again else plan_records.newest_of(check)
    if record:
        return _page(request, form, plan_records.worked_of(record))
    return _page(request, form, planning.work_out(check, wish))


@require_GET
def plan_record(request, number):
    """A plan by its number, whatever became of it."""
    row = _record(request, number)
    form = PlanForm(initial={"unit": _unit(request)})
    return _page(request, form, plan_records.worked_of(row))


def _record(request, number, verb="look") -> FitPlan:
    rows = FitPlan.objects.select_related(*plan_records.PLAN)
    return roles.fetch(request.user, verb, rows, number=number)


def _page(request, form, worked):
    view = plans.view_of(worked, _unit(request))
    check, record = worked.check, worked.record
    may_cut = roles.may(request.user, "cut parts")
    context = {
        "form": form,
        "view": view,
        "check": check,
        "fit_up": check.fit_up,
        "record": record,
        "end": getattr(record, "end", None),
        "asked": request.GET.urlencode(),
        "prints": planning.prints_of(check),
        "releases": worked.to_release(),
        "in_force": plan_records.releases_of(record) if record else [],
        "left": plan_records.left_words(record, view.unit) if record else "",
        "may_cut": may_cut and worked.live,
        "may_take": may_cut and worked.live and worked.plan and not record,
        "may_release": roles.may(request.user, "release cuts"),
        "back": _back_to_joint(check),
    }
    return render(request, "qa/plans/plan.html", context)


def _taken(request, uuid, verb="cut parts") -> FitPlan:
    """The plan that stands for a check; where none does, or another is wished, the one
    that is worked out now, taken. Refused where nothing can be planned."""
    check = _check(request, uuid, verb)
    _form, wish = _wish(request)
    record = plan_records.newest_of(check)
    held = record and plan_records.standing(record)
    if held and not wish and "again" not in request.GET:
        return record
    worked, draft = plan_records.draft(check, wish)
    if draft is None:
        raise Refused(
            worked.problem
            or _(
                "The part changed since this check: measure again before the next step."
            ),
            code="stale",
        )
    return fit_plans.take(by=request.user, draft=draft)


THEN = {"trim": "record_trim", "move": "record_move", "release": "release_cut"}


@require_POST
def take(request, uuid):
    """Freeze the plan that the page shows, for everyone; and go on with it."""
    try:
        row = _taken(request, uuid)
    except Refused as no:
        messages.error(request, no.message)
        return redirect(_where("check_plan", uuid, request))
    then = THEN.get(request.POST.get("then", ""))
    if then:
        return redirect(then, uuid=uuid)
    messages.success(
        request, _("%(plan)s is on record, the same for everyone.") % {"plan": row}
    )
    return redirect("plan_record", number=row.number)


@require_http_methods(["GET", "POST"])
def work_order(request, uuid):
    """POST takes the plan; GET draws the work order of the plan on record."""
    if request.method == "POST":
        try:
            row = _taken(request, uuid)
        except Refused as no:
            messages.error(request, no.message)
            return redirect(_where("check_plan", uuid, request))
        where = reverse("plan_work_order", args=[uuid])
        return redirect(f"{where}?plan={row.number}&unit={_unit(request)}")
    # reportlab is slow to import and most pages never print.
    from qa.paper import work_order as paper  # noqa: PLC0415
    from qa.queries import plan_papers  # noqa: PLC0415

    check = _check(request, uuid)
    rows = FitPlan.objects.filter(joints__fit_check=check)
    rows = rows.select_related(*plan_records.PLAN).order_by("-number")
    asked = request.GET.get("plan", "")
    number = int(asked) if asked.isdecimal() and len(asked) < 10 else None
    row = rows.filter(number=number).first() if number is not None else rows.first()
    if row is None:
        raise Http404
    view = plans.view_of(plan_records.worked_of(row), _unit(request))
    url = request.build_absolute_uri(reverse("plan_record", args=[row.number]))
    order = plan_papers.work_order(view, url)
    data = paper.render(order, papers.paper_of(request))
    return papers.answer(data, f"{row.label}-work-order.pdf")


@require_http_methods(["GET", "POST"])
def template(request, uuid):
    """POST prints and records; GET draws what was recorded (?print=, else the last)."""
    if request.method == "POST":
        return _print_template(request, uuid)
    from qa.queries import plan_papers  # noqa: PLC0415

    check = _check(request, uuid)
    rows = TemplatePrint.objects.filter(fit_check=check).order_by("-id")
    rows = rows.select_related("plan__end", "plan__fit_check")
    asked = request.GET.get("print", "")
    row = rows.filter(pk=asked).first() if asked.isdecimal() else rows.first()
    if row is None:
        raise Http404
    data = plan_papers.printed(row)
    return papers.answer(data, f"{check.label}-template.pdf")


def _print_template(request, uuid):
    from qa.queries import plan_papers  # noqa: PLC0415

    back = redirect(_where("check_plan", uuid, request))
    try:
        row = _taken(request, uuid)
        fit_plans.refuse_overtaken(row)
        url = request.build_absolute_uri(reverse("plan_record", args=[row.number]))
        view = plans.view_of(plan_records.worked_of(row), _unit(request))
        edges = plan_papers.edges_of(view, url)
        if not edges:
            raise Refused(_("Nothing is to be cut: there is no template to print."))
        paper, now = papers.paper_of(request), timezone.now()
        made = trimming.record_template(
            by=request.user,
            plan=row,
            edges=edges,
            paper=paper,
            issued_at=now,
            data=plan_papers.template_pdf(edges, now, paper),
        )
    except (Refused, ValueError) as no:
        messages.error(request, str(no))
        return back
    where = reverse("plan_template", args=[row.fit_check.entry_id])
    return redirect(f"{where}?print={made.pk}")


def _standing(request, uuid, verb="cut parts"):
    """The plan on record that stands for a check, shown again; None when there is none
    (the page of the plan then says what to do)."""
    row = plan_records.newest_of(_check(request, uuid, verb))
    if row is None or not plan_records.standing(row):
        messages.info(
            request,
            _("Take the plan first: what is cut, moved or released is what it asks."),
        )
        return None
    return plans.view_of(plan_records.worked_of(row), _unit(request))


def trim(request, uuid):
    """Say what came off; this opens the next fit-up."""
    view = _standing(request, uuid)
    if view is None:
        return redirect("check_plan", uuid=uuid)
    check, worked = view.worked.check, view.worked
    rows = plan_records.rows_left(view)
    move = plans.moved(worked, view.unit)
    form = TrimForm(
        posted(request),
        rows=[row for row in rows if row.side in Side.values],
        move_words=move.words if move else "",
        unit=view.unit,
    )

    def act(moved, note, reason, more, **_said):
        by_uuid = {str(one.entry_id): one for one in view.checks}
        taken = [
            Taken(
                check=by_uuid[row.check],
                station=row.label,
                side=row.side,
                value=text,
                unit=unit,
            )
            for row, text, unit in form.said()
        ]
        return trimming.record_trim(
            by=request.user,
            checks=view.checks,
            taken=taken,
            plan=worked.record,
            moved=move if moved == "yes" else None,
            note=note,
            reason=reason,
            more=more,
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
        "record": worked.record,
        "fit_up": check.fit_up,
        "releases": [one for one in worked.to_release() if not one[2]],
        "plan_url": reverse("plan_record", args=[worked.record.number]),
    }
    return render(request, "qa/plans/plan_trim.html", context)


def move(request, uuid):
    """Say how far the part was moved, nothing cut; this opens the next fit-up."""
    view = _standing(request, uuid)
    if view is None:
        return redirect("check_plan", uuid=uuid)
    worked = view.worked
    motions = [
        (name.replace("_", " "), amount, motion.turns)
        for (name, amount), motion in zip(
            worked.plan.move.amounts, worked.plan.move.motions, strict=True
        )
    ]
    form = MoveForm(posted(request), motions=motions, unit=view.unit)

    def act(note, **_said):
        raw = [
            math.radians(amount) if turns else amount
            for amount, (_label, _amount, turns) in zip(
                form.amounts, motions, strict=True
            )
        ]
        made = plans.moved(worked, view.unit, raw)
        if made is None:
            raise Refused(_("Nothing was moved: there is nothing to record."))
        return moves.record_move(
            by=request.user,
            checks=view.checks,
            moved=made,
            plan=worked.record,
            note=note,
        )

    return form_page(
        request,
        form,
        act,
        heading=_("Record a move of %(part)s") % {"part": worked.check.fit_up.part},
        back=_back_to_joint(worked.check),
        above=(str(worked.record), reverse("plan_record", args=[worked.record.number])),
        notes=[
            _("As planned: %(words)s.") % {"words": "; ".join(view.moves) or _("stay")},
            _("Right, up and out of the skin are as the joint is drawn. Every station "
              "of this part is stale after it."),
        ],
        button=_("Record this move"),
    )  # fmt: skip


def release(request, uuid):
    """The engineer lets primary structure be cut as the plan on record asks."""
    view = _standing(request, uuid, "release cuts")
    if view is None:
        return redirect("check_plan", uuid=uuid)
    record = view.record
    waiting = [one for one in view.worked.to_release() if not one[2]]
    here = reverse("plan_record", args=[record.number])
    if not waiting:
        messages.info(request, _("Nothing here waits for a release."))
        return redirect(here)

    def act(note):
        for part, _check, _done in waiting:
            trimming.release_cut(by=request.user, plan=record, part=part, note=note)

    names = ", ".join(part.serial for part, _check, _done in waiting)
    return form_page(
        request,
        ReleaseForm(posted(request)),
        act,
        heading=_("Release the cut of %(parts)s") % {"parts": names},
        back=here,
        above=(str(record), here),
        notes=[_("%(plan)s asks for: %(cuts)s. Nothing deeper and nothing elsewhere is "
                 "released.") % {"plan": record, "cuts": plan_records.cut_words(view)}],
        caution=_(
            "This is primary structure. The release is about this plan only; whether "
            "the structure may be changed belongs to the design authority."
        ),
        button=_("Release this cut"),
    )  # fmt: skip


def withdraw_plan(request, number):
    """Nobody works by a plan any more."""
    row = _record(request, number, "cut parts")
    here = reverse("plan_record", args=[number])
    return form_page(
        request,
        ReasonForm(posted(request)),
        lambda reason: fit_plans.withdraw(by=request.user, plan=row, reason=reason),
        heading=_("Withdraw %(plan)s") % {"plan": row},
        back=here,
        above=(str(row), here),
        button=_("Withdraw this plan"),
    )


def withdraw_release(request, uuid):
    """The engineer takes a release back: nothing more is cut by it."""
    rows = CutRelease.objects.select_related("part", "plan", "fit_check")
    row = roles.fetch(
        request.user, "release cuts", rows, entry_id=uuid, plan__isnull=False
    )
    here = reverse("plan_record", args=[row.plan.number])
    return form_page(
        request,
        ReasonForm(posted(request)),
        lambda reason: trimming.withdraw_release(
            by=request.user, release=row, reason=reason
        ),
        heading=_("Withdraw the release of %(part)s") % {"part": row.part},
        back=here,
        above=(str(row.plan), here),
        button=_("Withdraw this release"),
    )


def plan_defaults(request):
    """How this shop plans: the next bite, the least cut, how far parts may go."""
    roles.require(request.user, "set planning defaults")
    row = PlanDefaults.objects.first() or PlanDefaults()
    form = PlanDefaultsForm(
        posted(request), initial=PlanDefaultsForm.initial_of(row, request.user.units)
    )
    return form_page(
        request,
        form,
        lambda **_said: set_plan_defaults(by=request.user, **form.said()),
        heading=_("How this shop plans"),
        back=reverse("plan_defaults"),
        above=(_("Fit checks"), reverse("checks")),
    )
