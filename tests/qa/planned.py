"""Doors that do not fit, and the loop of fitting them, for the tests of plans."""

import re

from qa.actions import fit_plans, trimming
from qa.actions.trimming import Taken
from qa.models import Check
from qa.rules import plan_records, planning
from shop.models.prepared_statements import Prepared, Slot
from tests.qa.making import make_check, make_fit_up, make_joint, make_stations, mm, read

PLANNED = Prepared(
    lambda: Check.objects.select_related(*planning.RELATED).filter(pk=Slot("key"))
)


def planned(check: Check) -> Check:
    """A check as the plan's queries load it."""
    return PLANNED.first(key=check.pk)


def without_spread(words: str) -> str:
    """Words of a plan without how well each length is known."""
    return re.sub(r" \(± [\d.]+ \w+\)| ± [\d.]+", "", words)


def a_joint(by, count=8, **said):
    """A door of 8 stations, 2 mm may be cut at each, gap 1.50 to 3.00."""
    stations = make_stations(count, trim_max_nm=said.pop("trim_max_nm", mm(2)))
    return make_joint(by, stations, **said)


def a_check(by, joint=None, fit_up=None, **said):
    fit_up = fit_up or make_fit_up(by, joint or a_joint(by), **said)
    return make_check(by, fit_up)


def read_at(check: Check, gaps: dict, flush="0.00") -> None:
    """Gaps by label; flushness the same everywhere, none when None."""
    for label, gap in gaps.items():
        read(check, label, "gap", gap)
        if flush is not None:
            read(check, label, "flush", flush)


def even(count=8, gap="2.20", **but) -> dict:
    """The same gap at every station, but for those said: even(s3="0.9")."""
    told = {str(n): gap for n in range(1, count + 1)}
    return told | {label.removeprefix("s"): value for label, value in but.items()}


def shifted(check, x=0.0, y=0.0, turn=0.0, rise=0.0, **off):
    """Read every station as a door would read that sits off by a known move (mm,
    radians); off: what a station reads more, s3=-0.9."""
    for station in check.fit_up.revision.stations.all():
        px, py = station.x_nm / 1e6, station.y_nm / 1e6
        nx, ny = station.gap_x_e9 / 1e9, station.gap_y_e9 / 1e9
        moved = nx * (x - turn * py) + ny * (y + turn * px)
        gap = 2.25 - moved + off.get(f"s{station.label}", 0.0)
        read_at(check, {station.label: f"{gap:.4f}"}, flush=f"{rise:.2f}")


def cut(by, check: Check, depths: dict, side="part", **said):
    """Record depths in mm by station, and return the fit-up that it opened. Without a
    plan that asked for it there is a reason to give."""
    loaded = planned(check)
    taken = [
        Taken(loaded, label, side, text, "mm", mm(float(text)))
        for label, text in depths.items()
    ]
    if not said.get("plan"):
        said.setdefault("reason", "no plan was taken")
    return trimming.record_trim(by=by, checks=[loaded], taken=taken, **said)[0]


STILL = {"max_move_mm": 0.0, "max_turn_deg": 0.0}


def take(by, check: Check, limits: dict | None = STILL, side=None):
    """Put the plan for a check on record; it may not move, where nothing is said."""
    wish = planning.Wish(side, limits) if limits or side else None
    worked, draft = plan_records.draft(planned(check), wish)
    assert draft, worked.problem or "not of the newest state"
    return fit_plans.take(by=by, plan=draft)
