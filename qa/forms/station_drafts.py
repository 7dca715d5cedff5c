"""The stations of a joint file, as the act that releases them takes them."""

import difflib
import math
from collections.abc import Iterable

from qa.actions.joints import StationDraft
from qa.files.columns import Complaint, FileComplaints
from qa.files.joint import JointFile
from qa.files.joint_text import MOST_STATIONS
from shop.files.csv_table import FORMULA
from shop.numeric.units import E9, to_nm

LONGEST_LABEL = 20


class Positions:
    """The positions of a type by what people call them: code or name, in any case."""

    def __init__(self, rows: Iterable[tuple[str, str, int]] = ()):
        """Rows of code, name and key."""
        self.codes: dict[str, int] = {}
        self.names: dict[str, str] = {}
        self.called: dict[str, list[tuple[str, int]]] = {}
        for code, name, key in rows:
            self.codes[code], self.names[code] = key, name
            for words in {code.casefold(), name.casefold()}:
                self.called.setdefault(words, []).append((code, key))

    def key(self, text: str) -> int:
        """The one that is meant; LookupError says why there is none."""
        if not self.codes:
            raise LookupError(
                f"choose the fitted part first, then {text!r} is looked for"
            )
        if text in self.codes:
            return self.codes[text]
        keys = self.called.get(text.casefold(), [])
        if len(keys) == 1:
            return keys[0][1]
        if keys:
            codes = ", ".join(sorted(code for code, _ in keys))
            raise LookupError(f"{text!r} is the name of several positions: {codes}")
        near = difflib.get_close_matches(text.casefold(), self.called, n=1, cutoff=0.5)
        offered = [
            f"{code} ({self.names[code]})"
            for words in near
            for code, _ in self.called[words]
        ]
        nearest = f"; the nearest is {' or '.join(offered)}" if offered else ""
        raise LookupError(f"there is no position {text!r} on this type{nearest}")


def drafts(file: JointFile, positions: Positions) -> list[StationDraft]:
    """The stations of a file, ready to be released; positions: those that a station may
    name as its surround. FileComplaints for what a record cannot hold.
    """
    complaints = []
    surrounds: dict[str, int] = {}
    if len(file.lines) > MOST_STATIONS:
        reason = f"{len(file.lines)} stations; at most {MOST_STATIONS}"
        complaints.append(Complaint(reason, file.lines[MOST_STATIONS]))
    for row, (label, extras) in enumerate(zip(file.labels, file.extras, strict=True)):
        if len(label) > LONGEST_LABEL:
            reason = f"{label!r} is too long: at most {LONGEST_LABEL} characters"
            complaints.append(file.complaint(row, "label", reason))
        if label.startswith(FORMULA):
            reason = f"{label!r}: a name must not begin with = + - or @"
            complaints.append(file.complaint(row, "label", reason))
        try:
            if extras.surround:
                surrounds[extras.surround] = positions.key(extras.surround)
        except LookupError as why:
            name = file.columns["surround"]
            complaints.append(Complaint(why.args[0], file.lines[row], name))
    if complaints:
        raise FileComplaints(complaints)
    return [_draft(file, row, surrounds) for row in range(len(file.lines))]


def _draft(file: JointFile, row: int, surrounds: dict[str, int]) -> StationDraft:
    station, stated = file.joint.stations[row], file.stated[row]
    limits, extras = file.limits[row], file.extras[row]
    return StationDraft(
        label=station.label,
        place_nm=tuple(_nm(v) for v in station.place),
        gap_e9=_e9(station.gap_direction, stated.gap_direction),
        face_e9=_e9(station.face, stated.face),
        corner=bool(station.corner),
        gap_min_nm=limits.gap_low_nm,
        gap_max_nm=limits.gap_high_nm,
        flush_min_nm=limits.flush_low_nm,
        flush_max_nm=limits.flush_high_nm,
        typed={name: list(typed) for name, typed in extras.typed.items()},
        radius_nm=extras.radius_nm,
        laminar=extras.laminar,
        edge=extras.edge,
        trim_side=station.trim_side or "part",
        trim_max_nm=_nm(station.trim_max),
        trim_max_surround_nm=extras.trim_max_surround_nm,
        land_nm=_nm(station.land),
        surround_id=surrounds.get(extras.surround),
    )


def _e9(unit, stated) -> tuple[int, int, int]:
    """A direction in 1e-9. One that was stated of unit length stays as stated: making
    it a unit vector again could move its last digit."""
    if stated and abs(math.hypot(*stated) - 1) < 1e-8:
        unit = stated
    return tuple(round(v * E9) for v in unit)


def _nm(mm: float | None) -> int | None:
    return None if mm is None else to_nm(mm)
