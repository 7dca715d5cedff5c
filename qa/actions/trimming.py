"""Cuts: released by the engineer where they must be, printed, and recorded."""

import hashlib
from dataclasses import asdict, dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from qa.actions import fit_plans, next_fit_up
from qa.actions.settings import Settings, keep, set_otherwise
from qa.models import (
    Check,
    CutDeviation,
    CutRelease,
    FitPlan,
    FitUp,
    FitUpReason,
    MoveKind,
    PlanEnding,
    ReleaseWithdrawal,
    Side,
    TemplatePrint,
    TrimCut,
)
from qa.rules import authorship, cut_allowance, overtaking
from qa.rules.moved import Moved
from shop import roles
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform
from shop.models import Part
from shop.numeric.units import LengthError, parse_typed, to_mm

DEEPEST_NM = 60_000_000  # a deeper cut is not a trim


@dataclass(frozen=True)
class Taken:
    """What came off at a station, as typed; planned_nm is what was asked for."""

    check: Check
    station: str
    side: str
    value: str
    unit: str
    planned_nm: int | None = None

    def depth_nm(self) -> int:
        """The depth; Refused with the station's name when it is none."""
        try:
            depth = parse_typed(self.value, self.unit)
        except LengthError as error:
            raise Refused(
                _("Station %(station)s: %(why)s.")
                % {"station": self.station, "why": error},
                field="cuts",
            ) from None
        if not 0 <= depth <= DEEPEST_NM:
            raise Refused(
                _("Station %(station)s: a depth is 0 or more, 60 mm at most.")
                % {"station": self.station},
                field="cuts",
            )
        return depth


def release_cut(*, by, plan: FitPlan, part: Part, note: str = "") -> CutRelease:
    """The engineer lets a serial be cut as a plan asks, and not otherwise."""
    roles.require(by, "release cuts")
    content = {"plan": plan.label, "digest": plan.digest, "part": part.serial}
    with perform("release_cut/2", by=by, said={**content, "note": note}) as act:
        hold_row(Part, part.pk)
        fit_plans.refuse_ended(plan)
        fit_plans.refuse_overtaken(plan)
        asked = plan.cuts.filter(part=part, bite_nm__gt=0).first()
        for joint in plan.joints.select_related("fit_check"):
            authorship.require_proven(joint.fit_check)
        if asked is None:
            raise Refused(
                _("%(plan)s cuts nothing of %(part)s.")
                % {"plan": plan.label, "part": part.serial},
                field="part",
            )
        if CutRelease.objects.filter(part=part, plan=plan).exists():
            raise Refused(_("This cut is released already."), code="done")
        release = act.record(
            CutRelease(plan=plan, part=part, fit_check=asked.fit_check, note=note)
        )
        act.result = {"part": part.serial, "plan": plan.label}
    return release


def withdraw_release(*, by, release: CutRelease, reason: str) -> ReleaseWithdrawal:
    """Nothing more is cut by a release."""
    roles.require(by, "release cuts")
    if not reason.strip():
        raise Refused(_("Say why the release is withdrawn."), field="reason")
    content = {"release": str(release.entry_id), "reason": reason}
    with perform("release_withdrawn/1", by=by, said=content) as act:
        hold_row(Part, release.part_id)
        if ReleaseWithdrawal.objects.filter(release=release).exists():
            raise Refused(_("This release is withdrawn already."), code="done")
        row = act.record(ReleaseWithdrawal(release=release, reason=reason))
        act.result = {"release": str(release.entry_id)}
    return row


def refuse_unreleased(plan: FitPlan) -> None:
    """Refuse to print what leads to cutting primary structure that is not released."""
    parts = {cut.part for cut in plan.cuts.select_related("part__design") if cut.part}
    for part in sorted(parts, key=lambda part: part.serial):
        if cut_allowance.needs_release(part) and not cut_allowance.is_released(
            plan, part, bool(overtaking.changes_of(plan))
        ):
            raise Refused(_unreleased(plan, part), code="unreleased")


def _unreleased(plan: FitPlan | None, part: Part) -> str:
    words = _(
        "%(part)s is primary structure: the engineer releases the cut before anything "
        "comes off."
    )
    if plan:
        words = _(
            "%(part)s is primary structure: the engineer releases the cut by %(plan)s "
            "before anything comes off."
        )
    return words % {"part": part.serial, "plan": plan and plan.label}


def cut_part(fit_up: FitUp, side: str) -> Part:
    """The serial that is cut on a side."""
    if side not in Side.values:
        raise Refused(_("A cut is on the part or on its surround."), field="side")
    part = fit_up.part if side == Side.PART else fit_up.surround_part
    if part is None:
        raise Refused(
            _(
                "The surround has no serial in this fit-up: open the next one with it, "
                "so that what comes off is on its record."
            ),
            field="cuts",
        )
    return part


def record_template(
    *, by, plan: FitPlan, edges: list, paper: str, issued_at: datetime, data: bytes
) -> TemplatePrint:
    """Keep what was printed of a plan. Refused for primary structure not released."""
    roles.require(by, "cut parts")
    fit_plans.refuse_ended(plan)
    refuse_unreleased(plan)
    digest = hashlib.sha256(data).hexdigest()
    content = {"plan": plan.label, "paper": paper, "digest": digest}
    with perform("template/2", by=by, said=content) as act:
        return act.record(
            TemplatePrint(
                plan=plan,
                fit_check=plan.fit_check,
                paper=paper,
                edges=edges,
                issued_at=issued_at,
                digest=digest,
            )
        )


def record_trim(
    *,
    by,
    checks: list[Check],
    taken: list[Taken],
    plan: FitPlan | None = None,
    moved: Moved | Settings | None = None,
    note: str = "",
    reason: str = "",
    more: bool = False,
    keep_overtaken: bool = False,
    **envelope,
) -> list[FitUp]:
    """Record what came off, and a move made at the same time; open the next fit-ups.

    checks: those that were planned together, each with its fit-up, its parts and their
    designs; `taken` names one of them for each depth. plan: what asked for it, which is
    done then unless `more` is still to be cut by it. reason: why a cut goes beyond the
    plan, or was made by one that is overtaken; of primary structure only who releases
    cuts may give one. keep_overtaken: who cut may not have known that the plan is, so
    it is kept without a reason. Returns the new fit-ups, in the order of the checks.
    """  # fmt: skip
    roles.require(by, "cut parts")
    proven = not envelope.get("claimed")
    depths = _depths(taken)
    envelope.setdefault("said", _content(checks, taken, moved, note, plan, reason))
    with perform(envelope.pop("form", "trim/2"), by=by, **envelope) as act:
        fit_ups = next_fit_up.hold_still([check.fit_up for check in checks], plan)
        if plan:
            fit_plans.refuse_ended(plan)
        rows = _lines(checks, fit_ups, depths, _asked(plan))
        deviations = _deviations(
            by if proven else None, plan, rows, reason.strip(), keep_overtaken
        )
        for row in [*rows, *deviations]:
            row.plan = plan
            act.record(row)
        settings = _moved_too(act, checks, moved, plan)
        opened = next_fit_up.open_next(
            by=by,
            fit_ups=[fit_ups[check.fit_up_id] for check in checks],
            reason=FitUpReason.TRIM,
            note=note,
            plan=plan,
        )
        keep(act, settings, opened[0])
        if plan and not more:
            fit_plans.end(act, plan, PlanEnding.DONE)
        act.result = {"fitups": [str(fit_up.entry_id) for fit_up in opened]}
    return opened


def _depths(taken: list[Taken]) -> list[tuple[Taken, int]]:
    depths = [(cut, cut.depth_nm()) for cut in taken]
    if not any(depth for _cut, depth in depths):
        raise Refused(_("Nothing came off: there is nothing to record."), field="cuts")
    return depths


def _moved_too(act, checks, moved: Moved | Settings | None, plan) -> list:
    """Record what was done beside the cut; return the settings among it."""
    if isinstance(moved, Settings):
        return set_otherwise(act, checks, moved, plan)
    next_fit_up.record_moves(act, checks, moved, MoveKind.MOVE, plan)
    return []


def _asked(plan: FitPlan | None) -> dict:
    """What a plan asks for, nm, by (check, side, station)."""
    if plan is None:
        return {}
    rows = plan.cuts.values_list("fit_check", "side", "station", "bite_nm")
    return {row[:3]: row[3] for row in rows}


def _deviations(
    by, plan, rows: list[TrimCut], reason: str, keep_overtaken: bool
) -> list[CutDeviation]:
    """What goes beyond the plan, as it is recorded; Refused where it may not be.

    by: None where it is only claimed who cut it: that permits nothing.
    """
    changed = overtaking.changes_of(plan) if plan else []
    excesses = cut_allowance.beyond(plan, rows, bool(changed))
    for excess in excesses:
        primary = cut_allowance.needs_release(excess.part)
        if primary and not (reason and by and roles.may(by, "release cuts")):
            raise Refused(_too_deep(plan, excess, changed), code="unreleased")
    if excesses and not reason:
        as_planned = changed and not cut_allowance.beyond(plan, rows, overtaken=False)
        if not (keep_overtaken and as_planned):
            words = _unexplained(plan, excesses[0], changed)
            raise Refused(words, field="reason", code="reason")
        reason = fit_plans.no_reason(plan)
    return [
        CutDeviation(
            fit_up=excess.fit_up,
            part=excess.part,
            side=excess.side,
            s_nm=excess.s_nm,
            cut_nm=excess.cut_nm,
            allowed_nm=excess.allowed_nm,
            authorized=cut_allowance.needs_release(excess.part),
            reason=reason,
        )
        for excess in excesses
    ]


def _unexplained(plan, excess: cut_allowance.Beyond, changed) -> str:
    if changed:
        why = overtaking.in_words(changed)
        words = _("%(plan)s is overtaken: %(why)s. Say why %(part)s was cut by it.")
        return words % {"plan": plan.label, "why": why, "part": excess.part.serial}
    return _(
        "%(part)s was cut %(cut).2f mm deep where %(planned).2f mm was planned: say "
        "why."
    ) % {
        "part": excess.part.serial,
        "cut": to_mm(excess.cut_nm),
        "planned": to_mm(excess.allowed_nm),
    }


def _too_deep(plan, cut: cut_allowance.Beyond, changed) -> str:
    if not cut_allowance.is_released(plan, cut.part, bool(changed)):
        words = _unreleased(plan, cut.part)
        if changed:
            words += " " + _("%(plan)s is overtaken.") % {"plan": plan.label}
        return words
    return _(
        "%(part)s is primary structure: %(plan)s is released for %(released).2f mm at "
        "%(at).0f mm along its edge, and this makes %(cut).2f mm. Only the engineer "
        "records that, with a reason."
    ) % {
        "part": cut.part.serial,
        "plan": plan.label,
        "released": to_mm(cut.allowed_nm),
        "at": to_mm(cut.s_nm),
        "cut": to_mm(cut.cut_nm),
    }


def _line(check: Check, fit_up: FitUp, side: str, taken, planned_at) -> list[TrimCut]:
    """The cut line of one side: where something came off and where that runs out."""
    if not any(depth for _cut, depth in taken):
        return []
    revision = fit_up.revision
    stations = list(revision.stations.all())
    taken_at = {cut.station: (cut, depth) for cut, depth in taken}
    if unknown := set(taken_at) - {station.label for station in stations}:
        raise Refused(
            _("There is no station %(station)s here.") % {"station": min(unknown)},
            field="cuts",
        )
    depths = [taken_at.get(s.label, (None, 0))[1] for s in stations]
    rows = []
    for row, along in cut_allowance.cut_rows(revision, depths):
        label = stations[row].label
        cut, depth = taken_at.get(label, (None, 0))
        planned = cut.planned_nm if cut else None
        rows.append(
            TrimCut(
                fit_up=fit_up,
                fit_check=check,
                part=cut_part(fit_up, side),
                side=side,
                s_nm=along,
                depth_nm=depth,
                planned_nm=planned_at.get((check.pk, side, label), planned),
                value=cut.value if cut else "0",
                unit=cut.unit if cut else "mm",
            )
        )
    return rows


def _content(checks, taken, moved, note, plan, reason) -> dict:
    return {
        "plan": plan.label if plan else None,
        "reason": reason,
        "checks": [str(check.entry_id) for check in checks],
        "cuts": [
            {
                "check": str(cut.check.entry_id),
                "station": cut.station,
                "side": cut.side,
                "value": cut.value,
                "unit": cut.unit,
            }
            for cut in taken
        ],
        **_said_moved(moved),
        "note": note,
    }


def _said_moved(moved: Moved | Settings | None) -> dict:
    if isinstance(moved, Settings):
        return {"settings": [asdict(setting) for setting in moved.settings]}
    return {"moved": moved.amounts if moved else None}


def _lines(checks: list[Check], fit_ups: dict, depths, asked) -> list[TrimCut]:
    """The cut lines of all checks and sides."""
    rows = []
    for check in checks:
        for side in Side.values:
            here = [p for p in depths if p[0].check == check and p[0].side == side]
            rows += _line(check, fit_ups[check.fit_up_id], side, here, asked)
    return rows
