"""What the adjusters of a part were set to: recorded, and with it the next fit-up."""

from dataclasses import asdict, dataclass

from django.utils.translation import gettext as _

from qa.actions import fit_plans, next_fit_up
from qa.models import (
    AdjusterSetting,
    Check,
    FitPlan,
    FitUp,
    FitUpReason,
    MoveKind,
    PlanEnding,
)
from qa.rules import adjusters as rules
from qa.rules.moved import Moved
from qa.wording.settings import now_words, settings_text
from shop import roles
from shop.ledger import Refused, perform
from shop.models import Unit
from shop.numeric.units import to_mm


@dataclass(frozen=True)
class Set:
    """What an adjuster was set to: nm, the text as typed, and what had been asked.

    was_nm: what it was set to when the change was thought of, where that is known.
    """

    name: str
    value_nm: int
    value: str = ""
    unit: str = "mm"
    asked_nm: int | None = None
    was_nm: int | None = None


@dataclass(frozen=True)
class Settings:
    """Several at once, and what they should bring: {fit-up key: {station: [gap nm,
    flushness nm]}}; beside: as of Moved."""

    settings: list[Set]
    changes: dict[int, dict[str, list[int]]]
    beside: tuple = ()


def record_settings(
    *,
    by,
    checks: list[Check],
    made: Settings,
    plan: FitPlan | None = None,
    note: str = "",
    reason: str = "",
    more: bool = False,
    keep_overtaken: bool = False,
    **envelope,
) -> list[FitUp]:
    """Record what the adjusters of a part are set to now; open the next fit-up of every
    joint that was measured with them. The plan that asked for it is done, unless `more`
    is still to be cut by it. reason, and keep_overtaken: of a plan that is overtaken,
    as of a cut."""
    roles.require(by, "cut parts")
    envelope.setdefault(
        "said",
        {
            "checks": [str(check.entry_id) for check in checks],
            "settings": [asdict(setting) for setting in made.settings],
            "plan": plan.label if plan else None,
            "note": note,
            "reason": reason,
        },
    )
    form = envelope.pop("form", "settings/1")
    with perform(form, by=by, **envelope) as act:
        fit_ups = next_fit_up.hold_still([check.fit_up for check in checks], plan)
        if plan:
            fit_plans.refuse_ended(plan)
        kind, part = MoveKind.SET, checks[0].fit_up.part
        why = fit_plans.reason_to_move(plan, part, kind, reason, keep_overtaken)
        rows = set_otherwise(act, checks, made, plan, why)
        if plan and not more:
            fit_plans.end(act, plan, PlanEnding.DONE)
        opened = next_fit_up.open_next(
            by=by,
            fit_ups=[fit_ups[check.fit_up_id] for check in checks],
            reason=FitUpReason.SET,
            note=note,
            plan=plan,
        )
        keep(act, rows, opened[0])
        act.result = {"fitups": [str(fit_up.entry_id) for fit_up in opened]}
    return opened


def set_otherwise(
    act, checks: list[Check], made: Settings, plan: FitPlan | None, reason: str = ""
) -> list[AdjusterSetting]:
    """Record what settings do to the part, as a move, with its reason; return those
    that differ from what stands, to be kept with the fit-up that they open. Call inside
    an act."""
    fit_up = checks[0].fit_up
    airframe, position = fit_up.airframe, fit_up.joint.position
    present = {
        adjuster.name: adjuster for adjuster in rules.present(airframe, position)
    }
    rows = _changed(made.settings, present, airframe, position, plan)
    moved = _moved(rows, present, made)
    next_fit_up.record_moves(act, checks, moved, MoveKind.SET, plan, reason)
    return rows


def keep(act, rows: list[AdjusterSetting], fit_up: FitUp) -> None:
    """Record settings with the fit-up that they opened."""
    for row in rows:
        row.fit_up = fit_up
        act.record(row)


def _moved(rows, present, made: Settings) -> Moved:
    """What the settings do to the part, as a move is kept."""
    changes_nm = [(present[row.name], row.change_nm) for row in rows]
    amounts = [
        {"name": row.name, "amount": f"{to_mm(row.change_nm):.3f}", "unit": "mm"}
        for row in rows
    ]
    words = settings_text(changes_nm, Unit.MM)
    return Moved(words, amounts, made.changes, made.beside)


def _changed(settings, present, airframe, position, plan) -> list[AdjusterSetting]:
    """The settings that differ from what stands; refused where they cannot be."""
    rows = []
    for row, setting in enumerate(settings):
        field = f"setting_{row}"
        if setting.name not in present:
            raise Refused(
                _("Nothing called %(name)s holds this part now.")
                % {"name": setting.name},
                field=field,
            )
        now = present[setting.name]
        if setting.was_nm not in (None, now.now_nm):
            raise Refused(
                _("%(point)s was set in the meantime: it is set to %(now)s now.")
                % {"point": now.point, "now": now_words(now, now.now_nm, Unit.MM)},
                field=field,
                code="stale",
            )
        if not now.min_nm <= setting.value_nm <= now.max_nm:
            raise Refused(
                _("It can be set from %(low)s to %(high)s mm.")
                % {"low": f"{to_mm(now.min_nm):g}", "high": f"{to_mm(now.max_nm):g}"},
                field=field,
            )
        change = setting.value_nm - now.now_nm
        if change:
            rows.append(
                AdjusterSetting(
                    airframe=airframe,
                    position=position,
                    name=setting.name,
                    plan=plan,
                    value_nm=setting.value_nm,
                    change_nm=change,
                    asked_nm=setting.asked_nm,
                    value=setting.value,
                    unit=setting.unit,
                )
            )
    if not rows:
        raise Refused(_("Nothing was set otherwise: there is nothing to record."))
    return rows
