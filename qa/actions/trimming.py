"""Cuts: released by the engineer where they must be, printed, and recorded."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from qa.models import (
    AppliedMove,
    Check,
    CutRelease,
    FitUp,
    FitUpReason,
    MoveKind,
    Side,
    TemplatePrint,
    TrimCut,
)
from qa.numeric import cut_line, outline
from qa.numeric.lengths import LengthError, parse_length
from shop import roles
from shop.ledger import Refused, perform
from shop.models import Part, StructuralClass

from . import authorship, steps

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
            depth = parse_length(self.value, self.unit, comma=True)
        except LengthError as error:
            raise Refused(f"Station {self.station}: {error}.", field="cuts") from None
        if not 0 <= depth <= DEEPEST_NM:
            raise Refused(
                f"Station {self.station}: a depth is 0 or more, 60 mm at most.",
                field="cuts",
            )
        return depth


@dataclass(frozen=True)
class Moved:
    """A move that was made, in words and amounts, and what it should change.

    changes: {fit-up key: {station: [gap nm, flushness nm]}}.
    """

    words: str
    amounts: list[dict]
    changes: dict[int, dict[str, list[int]]]


def needs_release(part: Part) -> bool:
    return part.design.structural_class == StructuralClass.PRIMARY


def release_cut(*, by, check: Check, part: Part, note: str = "") -> CutRelease:
    """The engineer lets a serial be cut as this check's plan says."""
    roles.require(by, "release cuts")
    fit_up = check.fit_up
    if part.pk not in (fit_up.part_id, fit_up.surround_part_id):
        raise Refused("This part is not in this check.", field="part")
    authorship.require_proven(check)
    said = {"check": str(check.entry_id), "part": part.serial, "note": note}
    with perform("release_cut/1", by=by, said=said) as act:
        Part.objects.select_for_update(of=("self",), no_key=True).get(pk=part.pk)
        if CutRelease.objects.filter(part=part, fit_check=check).exists():
            raise Refused("This cut is released already.", code="done")
        release = act.record(CutRelease(part=part, fit_check=check, note=note))
        act.result = {"part": part.serial, "check": check.label}
    return release


def refuse_unreleased(parts: dict[Part, list[Check]]) -> None:
    """Refuse to cut primary structure that no engineer released by these checks."""
    for part, checks in parts.items():
        if not needs_release(part):
            continue
        for check in checks:
            if not CutRelease.objects.filter(part=part, fit_check=check).exists():
                raise Refused(
                    f"{part.serial} is primary structure: the engineer releases the "
                    f"cut by {check.label} before anything comes off.",
                    code="unreleased",
                )


def cut_part(fit_up: FitUp, side: str) -> Part:
    """The serial that is cut on a side."""
    if side not in Side.values:
        raise Refused("A cut is on the part or on its surround.", field="side")
    part = fit_up.part if side == Side.PART else fit_up.surround_part
    if part is None:
        raise Refused(
            "The surround has no serial in this fit-up: open the next one with it, so "
            "that what comes off is on its record.",
            field="cuts",
        )
    return part


def record_template(
    *,
    by,
    check: Check,
    edges: list,
    paper: str,
    issued_at: datetime,
    data: bytes,
    cut: list[tuple[FitUp, Check, str]],
) -> TemplatePrint:
    """Keep what was printed. `cut` are the (fit-up, check, side) it leads to cutting.

    Refused for primary structure that is not released.
    """  # fmt: skip
    roles.require(by, "cut parts")
    refuse_unreleased(_by_part(cut))
    digest = hashlib.sha256(data).hexdigest()
    said = {"check": str(check.entry_id), "paper": paper, "digest": digest}
    with perform("template/1", by=by, said=said) as act:
        return act.record(
            TemplatePrint(
                fit_check=check,
                paper=paper,
                edges=edges,
                issued_at=issued_at,
                digest=digest,
            )
        )


def _by_part(cut) -> dict[Part, list[Check]]:
    parts: dict[Part, list[Check]] = {}
    for fit_up, check, side in cut:
        checks = parts.setdefault(cut_part(fit_up, side), [])
        if check not in checks:
            checks.append(check)
    return parts


def record_trim(
    *,
    by,
    checks: list[Check],
    taken: list[Taken],
    moved: Moved | None = None,
    note: str = "",
    **envelope,
) -> list[FitUp]:
    """Record what came off, and a move made at the same time; open the next fit-ups.

    checks: those that were planned together, each with its fit-up, its parts and their
    designs; `taken` names one of them for each depth. Returns the new fit-ups, in the
    order of the checks.
    """  # fmt: skip
    roles.require(by, "cut parts")
    depths = [(one, one.depth_nm()) for one in taken]
    if not any(depth for _, depth in depths):
        raise Refused("Nothing came off: there is nothing to record.", field="cuts")
    cut = [(one.check.fit_up, one.check, one.side) for one, depth in depths if depth]
    refuse_unreleased(_by_part(cut))
    envelope.setdefault("said", _said(checks, taken, moved, note))
    with perform("trim/1", by=by, **envelope) as act:
        steps.hold_still([check.fit_up for check in checks])
        for check in checks:
            for side in Side.values:
                here = [p for p in depths if p[0].check == check and p[0].side == side]
                for row in _line(check, side, here):
                    act.record(row)
        record_moves(act, checks, moved, MoveKind.MOVE)
        opened = steps.open_next(
            by=by,
            fit_ups=[check.fit_up for check in checks],
            reason=FitUpReason.TRIM,
            note=note,
        )
        act.result = {"fitups": [str(one.entry_id) for one in opened]}
    return opened


def _line(check: Check, side: str, taken: list[tuple[Taken, int]]) -> list[TrimCut]:
    """The cut line of one side: where something came off and where that runs out."""
    if not any(depth for _, depth in taken):
        return []
    revision = check.fit_up.revision
    stations = list(revision.stations.all())
    places = np.array([[s.x_nm, s.y_nm, s.z_nm] for s in stations]) / 1e6
    along, _ = outline.distances_along(places, revision.closed)
    said = {one.station: (one, depth) for one, depth in taken}
    if unknown := set(said) - {station.label for station in stations}:
        raise Refused(f"There is no station {min(unknown)} here.", field="cuts")
    depths = [said.get(s.label, (None, 0))[1] for s in stations]
    rows = []
    for row in cut_line.run_outs(depths, revision.closed):
        one, depth = said.get(stations[row].label, (None, 0))
        rows.append(
            TrimCut(
                fit_up=check.fit_up,
                fit_check=check,
                part=cut_part(check.fit_up, side),
                side=side,
                s_nm=round(float(along[row]) * 1e6),
                depth_nm=depth,
                planned_nm=one.planned_nm if one else None,
                value=one.value if one else "0",
                unit=one.unit if one else "mm",
            )
        )
    return rows


def record_moves(act, checks: list[Check], moved: Moved | None, kind: str) -> None:
    """Record one move at every joint that it was planned for."""
    for check in checks if moved else []:
        act.record(
            AppliedMove(
                fit_up=check.fit_up,
                fit_check=check,
                kind=kind,
                words=moved.words[:400],
                amounts=moved.amounts,
                changes=moved.changes.get(check.fit_up_id, {}),
            )
        )


def _said(checks, taken, moved, note) -> dict:
    return {
        "checks": [str(check.entry_id) for check in checks],
        "cuts": [
            {
                "check": str(one.check.entry_id),
                "station": one.station,
                "side": one.side,
                "value": one.value,
                "unit": one.unit,
            }
            for one in taken
        ],
        "moved": moved.amounts if moved else None,
        "note": note,
    }
