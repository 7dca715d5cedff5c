"""Rows for the tests of qa, each made by the action that makes it in the product.

`by` is the person who does it; the engineer may do everything here. Defaults give a
door of 8 stations on a rounded rectangle, gap 1.50 to 3.00 mm, flushness within 0.50,
simple acceptance. What is not given is made.
"""

from dataclasses import fields

from qa.actions import checks, fitups, instruments, joints
from qa.actions.joints import RequirementDraft, StationDraft
from qa.models import Check, Instrument, Joint, Reading
from qa.numeric.geometry import layout
from qa.rules.judging import Typed
from shop.models.prepared_statements import Prepared, Slot
from tests.shop.making import (
    fresh,
    make_airframe,
    make_design,
    make_part,
    make_position,
    make_type,
)

__all__ = [
    "fresh",
    "make_airframe",
    "make_check",
    "make_design",
    "make_fit_up",
    "make_instrument",
    "make_joint",
    "make_part",
    "make_position",
    "make_stations",
    "make_type",
    "mm",
    "read",
    "read_all",
    "revise",
]

JOINT = Prepared(
    lambda: Joint.objects.select_related(
        "type", "position", "surround", "current"
    ).filter(pk=Slot("key"))
)
CHECK = Prepared(
    lambda: Check.objects.select_related(
        "fit_up__revision", "fit_up__joint", "fit_up__airframe", "instrument", "state"
    ).filter(pk=Slot("key"))
)
_REQUIREMENT = {field.name for field in fields(RequirementDraft)}


def mm(value: float | None) -> int | None:
    """Nanometers of millimeters."""
    return None if value is None else round(value * 1e6)


def make_stations(
    count=8, *, gap=(1.5, 3.0), flush=(-0.5, 0.5), size=(800, 500, 60), **every
) -> list[StationDraft]:
    """Stations 1, 2 ... evenly along a rounded rectangle; limits in mm, None for none.

    `every` goes to each draft: edge="upstream", trim_max_nm=mm(2) ...
    """
    drawn = layout.rounded_rectangle(*size, count)
    pairs = zip(drawn.places, drawn.gap_directions, strict=True)
    return [
        StationDraft(
            label=str(row),
            place_nm=tuple(mm(v) for v in place),
            gap_e9=tuple(round(v * 1e9) for v in direction),
            gap_min_nm=mm(gap[0]),
            gap_max_nm=mm(gap[1]),
            flush_min_nm=mm(flush[0]),
            flush_max_nm=mm(flush[1]),
            **every,
        )
        for row, (place, direction) in enumerate(pairs, start=1)
    ]


def make_joint(by, stations=8, **overrides) -> Joint:
    """A joint with its first revision.

    stations: how many, or drafts. overrides: type, position, surround, number, name,
    first_line, last_line, and every field of a RequirementDraft (rule="guarded" ...).
    """
    drafts = make_stations(stations) if isinstance(stations, int) else stations
    said = {key: overrides.pop(key) for key in _REQUIREMENT & set(overrides)}
    position, surround = (
        overrides.pop("position", None),
        overrides.pop("surround", None),
    )
    kind = overrides.pop("type", None) or (position.type if position else make_type(by))
    joint = joints.define_joint(
        by=by,
        position=position or make_position(by, type=kind),
        surround=surround or make_position(by, type=kind),
        requirement=RequirementDraft(**said),
        stations=drafts,
        **{"number": fresh("J"), "name": "Left door to frame", **overrides},
    )
    return JOINT.first(key=joint.pk)


def revise(by, joint: Joint, stations=8, **requirement):
    """The next revision of a joint, whichever is the newest; with a note of its own, so
    that it changes something."""
    requirement.setdefault("note", fresh("revised"))
    drafts = make_stations(stations) if isinstance(stations, int) else stations
    joint = Joint.objects.select_related("current").get(pk=joint.pk)
    return joints.revise_joint(
        by=by,
        joint=joint,
        requirement=RequirementDraft(**requirement),
        stations=drafts,
        based_on=joint.current.number,
    )


def make_instrument(by, **overrides) -> Instrument:
    """A step gauge with a standard uncertainty of 0.02 mm."""
    said = {"code": fresh("SG"), "name": "Step gauge", "u_nm": mm(0.02)}
    return instruments.save_instrument(by=by, **{**said, **overrides})


def make_fit_up(by, joint: Joint | None = None, **overrides):
    """The next fit-up of a joint, on a fresh airframe unless one is given; parts made
    here are of a design each, so that a reason stands ready."""
    overrides.setdefault("why", "Made for a test.")
    joint = joint or make_joint(by)
    airframe = overrides.pop("airframe", None) or make_airframe(by, type=joint.type)
    part = overrides.pop("part", None) or make_part(by)
    return fitups.open_fit_up(
        by=by, joint=joint, airframe=airframe, part=part, **overrides
    )


def make_check(by, fit_up=None, **overrides) -> Check:
    """An open check. overrides: joint, instrument (None for none), finish ..."""
    joint = overrides.pop("joint", None)
    if "instrument" not in overrides:
        overrides["instrument"] = make_instrument(by)
    check = checks.start_check(
        by=by,
        fit_up=fit_up or make_fit_up(by, joint),
        **{"finish": "finished", **overrides},
    )
    return CHECK.first(key=check.pk)


def read(
    check: Check, station, kind: str, value: str = "", *, by=None, **said
) -> Reading:
    """One reading at a station (its label), as the tablet says it.

    said: unit, outcome, goes, does_not_go, supersedes, reason. Without `by`, the person
    who started the check.
    """
    names = ("outcome", "unit", "goes", "does_not_go")
    typed = {"outcome": "value", "unit": "mm"}
    typed |= {name: said.pop(name) for name in names if name in said}
    return checks.record_reading(
        by=by or check.entry.by,
        check=check,
        station=station_of(check.fit_up.revision, str(station)),
        kind=kind,
        typed=Typed(value=value, **typed),
        **said,
    )


def station_of(revision, label: str):
    """Looked up once a revision: it is frozen."""
    if not hasattr(revision, "by_label"):
        revision.by_label = {one.label: one for one in revision.stations.all()}
    return revision.by_label[label]


def read_all(check: Check, gap="2.20", flush="0.00", **but) -> None:
    """Read every station alike; but: values by label, gap_at={"4": "0.9"}."""
    gaps, flushes = but.get("gap_at", {}), but.get("flush_at", {})
    for label in check.fit_up.revision.stations.values_list("label", flat=True):
        read(check, label, "gap", gaps.get(label, gap))
        read(check, label, "flush", flushes.get(label, flush))


def refit(by, fit_up):
    """Take its part off and put it on again: what was measured is to be measured so."""
    said = {"joint": fit_up.joint, "airframe": fit_up.airframe, "part": fit_up.part}
    return fitups.open_fit_up(by=by, reason="refit", **said)
