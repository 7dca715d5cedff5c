"""What is done by a plan on record: cuts, moves, releases."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from qa.actions import moves, trimming
from qa.actions.settings import Set, Settings
from qa.actions.trimming import Taken
from qa.forms.plans import MoveForm, ReasonForm, ReleaseForm, TrimForm
from qa.models import CutRelease, Side
from qa.queries.plans import move_rows, move_texts
from qa.queries.plans import plan_pages as plans
from qa.queries.plans.plan_records import cut_words, rows_left
from qa.rules import overtaking, plan_records, rigs
from qa.rules.moved import Moved
from shop import roles
from shop.ledger import Refused
from shop.views.acting import attempt, form_page, posted

from .plans import back_to_joint, check_to_plan, unit_of


def _standing(request, uuid, verb="cut parts"):
    """The plan on record that stands for a check, shown again; None when there is none
    (the page of the plan then says what to do)."""
    row = plan_records.newest_of(check_to_plan(request, uuid, verb))
    if row is None or not plan_records.standing(row):
        messages.info(
            request,
            _("Take the plan first: what is cut, moved or released is what it asks."),
        )
        return None
    return plans.view_of(plan_records.worked_of(row), unit_of(request))


def trim(request, uuid):
    """Say what came off; this opens the next fit-up."""
    view = _standing(request, uuid)
    if view is None:
        return redirect("check_plan", uuid=uuid)
    check, worked = view.worked.check, view.worked
    move = _beside_the_cut(view)
    form = TrimForm(
        posted(request),
        rows=[row for row in rows_left(view) if row.side in Side.values],
        moved=_moved_words(view) if move else "",
        unit=view.unit,
        overtaken=bool(worked.changes),
    )
    if request.method == "POST":
        done, _opened = attempt(form, _cutting(request.user, form, view, move))
        if done:
            message = _("Recorded. Measure again: witnesses first.")
            if not view.measured:
                message = _("Recorded. Nothing was read here yet: measure all of it.")
            if form.cleaned_data.get("moved") == "yes":
                message = _("Recorded. It was moved: measure every station again.")
            messages.success(request, message)
            return redirect(back_to_joint(check))
    context = {
        "form": form,
        "view": view,
        "check": check,
        "record": worked.record,
        "fit_up": check.fit_up,
        "releases": [row for row in worked.to_release() if not row[2]],
        "overtaken": overtaking.warning(worked.record, worked.changes),
        "plan_url": reverse("plan_record", args=[worked.record.number]),
    }
    return render(request, "qa/plans/plan_trim.html", context)


def _beside_the_cut(view) -> Moved | Settings | None:
    """What the plan asks for beside the cut, as the act takes it; None for nothing."""
    worked = view.worked
    if worked.plan.settings is None:
        return plans.moved(worked, view.unit)
    if not worked.asked_settings or view.share < 1:
        return None
    changes = worked.set_changes
    steps = [nm for _one, nm in changes]
    made = rigs.made(worked.present, steps, worked.joints, worked.around)
    asked = [
        Set(adjuster.name, adjuster.now_nm + nm, asked_nm=nm, was_nm=adjuster.now_nm)
        for adjuster, nm in changes
        if nm
    ]
    return Settings(asked, made.changes, made.beside)


def _moved_words(view) -> str:
    words = "; ".join(move_texts.plan_moves(view.worked, view.unit, view.share))
    if view.worked.plan.settings is not None:
        return _("was set as asked: %(words)s") % {"words": words}
    return _("was moved: %(words)s") % {"words": words}


def _cutting(by, form: TrimForm, view, move):
    """The act that the form of a cut asks for."""
    checks = {str(check.entry_id): check for check in view.checks}

    def act(moved, note, reason, more, **_data):
        return trimming.record_trim(
            by=by,
            checks=view.checks,
            taken=[
                Taken(
                    check=checks[row.check],
                    station=row.label,
                    side=row.side,
                    value=text,
                    unit=unit,
                )
                for row, text, unit in form.depths_typed()
            ],
            plan=view.record,
            moved=move if moved == "yes" else None,
            note=note,
            reason=reason,
            more=more,
        )

    return act


def move(request, uuid):
    """Say how far the part was moved, nothing cut; this opens the next fit-up."""
    view = _standing(request, uuid)
    if view is None:
        return redirect("check_plan", uuid=uuid)
    worked = view.worked
    if worked.plan.settings is not None:
        return redirect("set_part", uuid=uuid)
    rows = move_rows.motion_rows(worked, worked.plan.move.raw)
    form = MoveForm(
        posted(request), rows=rows, unit=view.unit, overtaken=bool(worked.changes)
    )

    def act(note, reason="", **_data):
        moved = plans.moved(worked, view.unit, move_rows.raw_with(rows, form.amounts))
        if moved is None:
            raise Refused(_("Nothing was moved: there is nothing to record."))
        return moves.record_move(
            by=request.user,
            checks=view.checks,
            moved=moved,
            plan=worked.record,
            note=note,
            reason=reason,
        )

    return form_page(
        request,
        form,
        act,
        heading=_("Record a move of %(part)s") % {"part": worked.check.fit_up.part},
        back=back_to_joint(worked.check),
        above=(str(worked.record), reverse("plan_record", args=[worked.record.number])),
        caution=overtaking.warning(worked.record, worked.changes),
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
    waiting = [row for row in view.worked.to_release() if not row[2]]
    here = reverse("plan_record", args=[record.number])
    if not waiting:
        messages.info(request, _("Nothing here waits for a release."))
        return redirect(here)
    if view.overtaken:
        words = _("%(plan)s is overtaken: nothing can be released by it.")
        messages.error(request, words % {"plan": record})
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
                 "released.") % {"plan": record, "cuts": cut_words(view)}],
        caution=_(
            "This is primary structure. The release is about this plan only; whether "
            "the structure may be changed belongs to the design authority."
        ),
        button=_("Release this cut"),
    )  # fmt: skip


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
