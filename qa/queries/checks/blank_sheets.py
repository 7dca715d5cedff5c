"""A blank sheet of a joint: where to measure, and boxes to log by hand."""

from dataclasses import dataclass
from datetime import datetime

from qa.drawing.joint_map import JointMap
from qa.models import Rule
from qa.queries.issue import GENERAL_CAUTIONS, ledger_place, local
from shop.queries.identity import the_shop


@dataclass(frozen=True)
class BlankRow:
    """One station with what it requires, as text; empty where there are no limits."""

    station: str
    gap_requirement: str = ""
    flush_requirement: str = ""


@dataclass(frozen=True)
class BlankSheet:
    """A joint to be logged by hand in `unit`. Values on the map are left out."""

    shop: str
    number: str
    joint_number: str
    joint_name: str
    joint_revision: str
    airframe: str
    map: JointMap
    rows: tuple[BlankRow, ...]
    issued_at: datetime
    issued_text: str = ""
    unit: str = "mm"
    rule: str = ""
    cautions: tuple[str, ...] = GENERAL_CAUTIONS
    url: str = ""
    digest: str = ""
    ledger_head: str = ""
    banner: str = ""


def blank_sheet_of(view, url: str, airframe: str = "") -> BlankSheet:
    """Return the sheet to log a joint by hand on, from a joint's view."""
    revision, joint = view.revision, view.joint
    rule = revision.get_rule_display()
    if revision.rule == Rule.GUARDED:
        rule += f", ISO 14253-1:{revision.edition}"
    return BlankSheet(
        shop=the_shop().name,
        number=f"{joint.number}-{revision.number}",
        joint_number=joint.number,
        joint_name=joint.name,
        joint_revision=str(revision.number),
        airframe=airframe or f"{joint.type.code}, serial:",
        map=view.map,
        rows=tuple(
            BlankRow(station.label, station.gap, station.flush)
            for station in view.stations
        ),
        issued_at=revision.entry.received_at,
        issued_text=local(revision.entry.received_at),
        unit=view.unit,
        rule=rule,
        url=url,
        digest=revision.entry.digest,
        ledger_head=ledger_place(revision.entry),
        banner=""
        if revision.number == joint.current.number
        else f"Revision {joint.current.number} is newer",
    )
