"""What changes of settings should do, station by station, before they are recorded."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.models import Kind
from qa.rules.adjusters import Present
from qa.rules.planning import PlannedJoint, WorkedPlan
from qa.rules.rigs import Made
from qa.wording import lengths
from qa.wording.settings import settings_text
from shop.numeric.units import to_mm

from .plan_pages import judged_as

TELLING_NM = 20_000  # settings that pull against each other by less go without a word


@dataclass(frozen=True)
class SettingsRow:
    """One station now and as it should be then: texts, and states that a map draws."""

    name: str
    gap_now: str
    gap_now_state: str
    gap_after: str
    gap_after_state: str
    flush_now: str
    flush_now_state: str
    flush_after: str
    flush_after_state: str

    @property
    def wrong(self) -> bool:
        return bool({self.gap_after_state, self.flush_after_state} - {"", "conforms"})


@dataclass(frozen=True)
class SettingsView:
    """`words` is what hands do; `apart` how far a rigid part stays off it, "" when it
    can do all of it."""

    words: str
    rows: list[SettingsRow]
    apart: str

    @property
    def wrong(self) -> list[SettingsRow]:
        return [row for row in self.rows if row.wrong]


def settings_view(
    worked: WorkedPlan,
    present: Sequence[Present],
    changes_nm: Sequence[int],
    made: Made,
    unit: str,
) -> SettingsView:
    """What was measured, moved by settings; no statement."""
    several = len(worked.joints) > 1
    rows = [
        _row(joint, row, made.changes[joint.state.fit_up.pk], several, unit)
        for joint in worked.joints
        for row, station in enumerate(joint.state.seam.stations)
        if any(joint.value_nm(station.label, kind) is not None for kind in Kind.values)
    ]
    apart = made.apart_nm
    return SettingsView(
        words=settings_text(zip(present, changes_nm, strict=True), unit),
        rows=rows,
        apart=lengths.length(apart, unit) if apart > TELLING_NM else "",
    )


def _row(
    joint: PlannedJoint, row: int, changes, several: bool, unit: str
) -> SettingsRow:
    label = joint.state.seam.stations[row].label
    cells = {"name": f"{joint.state.joint.number}:{label}" if several else label}
    for kind, change in zip(Kind.values, changes[label], strict=True):
        now = joint.value_nm(label, kind)
        after = None if now is None else now + change
        for when, nm in (("now", now), ("after", after)):
            text = lengths.on_map(nm, unit, signed=kind == Kind.FLUSH)
            cells[f"{kind}_{when}"] = text
            mm = None if nm is None else to_mm(nm)
            cells[f"{kind}_{when}_state"] = judged_as(joint, row, kind, mm)
    return SettingsRow(**cells)
