"""Several parts and the joints between them, as a JSON file.

    {"parts": [{"name": "fuselage", "fixed": true}, {"name": "upper cowl"},
               {"name": "door", "motions": [...]}],
     "joints": [{"joint": "J1.csv", "readings": "R1.csv", "part": "upper cowl",
                 "surround": "fuselage", "open": true}]}

A part is free unless it is fixed, has motions of its own, as a motions file states
them, or adjusters: `"adjusters": "A.csv"`, or the rows of such a file as objects. Files
are sought beside this one, else where the command runs. A closed seam has its part
inside, unless it says `"outside": true`.
"""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, field

from qa.files import adjusters as adjusters_file
from qa.files import json_text
from qa.files.columns import Complaint, FileComplaints
from qa.files.json_text import Wrong, name_of, refuse_unknown
from qa.files.motions import motions_in
from qa.numeric.plan.adjusters import Adjuster
from qa.numeric.plan.bodies import Body

MOST_PARTS, MOST_JOINTS = 20, 60
GOES = ("motions", "adjusters")
LONGEST_PATH = 1000


@dataclass(frozen=True)
class JointEntry:
    """A joint of the file: its two files as they stand there, its sides as numbers of
    parts."""

    joint: str
    readings: str
    part: int
    surround: int
    open: bool
    outside: bool


@dataclass(frozen=True)
class AssemblyFile:
    parts: tuple[Body, ...]
    joints: tuple[JointEntry, ...]
    # The files of adjusters that are named, by the number of their part.
    adjusters: dict[int, str] = field(default_factory=dict)


def parse(data: bytes) -> AssemblyFile:
    """What stands in the file. Raises FileComplaints with all that is wrong."""
    content = json_text.parse(data)
    complaints: list[Complaint] = []
    if not isinstance(content, dict):
        reason = 'an object is needed: {"parts": [...], "joints": [...]}'
        raise FileComplaints([Complaint(reason, 1)])
    try:
        refuse_unknown(content, ("parts", "joints"))
    except Wrong as wrong:
        complaints.append(Complaint(str(wrong), None, wrong.key))
    parts = _each(content, "parts", MOST_PARTS, complaints, _part)
    names = [part.name for part in parts if part]
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        complaints.append(Complaint(f"part {name!r} is listed twice", None, "parts"))
    if complaints:
        raise FileComplaints(complaints)

    def joint(entry):
        return _joint(entry, names)

    joints = _each(content, "joints", MOST_JOINTS, complaints, joint)
    entries = [entry for entry in joints if entry]
    for entry in dict.fromkeys(entry for entry in entries if entries.count(entry) > 1):
        text = f"{entry.joint!r} with {entry.readings!r} is listed twice"
        complaints.append(Complaint(text, None, "joints"))
    if complaints:
        raise FileComplaints(complaints)
    named = {
        number: part["adjusters"]
        for number, part in enumerate(content["parts"])
        if isinstance(part.get("adjusters"), str)
    }
    return AssemblyFile(tuple(parts), tuple(joints), named)


def _each(content: dict, key: str, most: int, complaints: list, read: Callable) -> list:
    """What `read` makes of the entries of a list, None of one that is wrong."""
    entries, name = content.get(key), key.removesuffix("s")
    if not isinstance(entries, list) or not 0 < len(entries) <= most:
        complaints.append(
            Complaint(f"a list of 1 to {most} {key} is needed", None, key)
        )
        return []
    read_entries = []
    for number, entry in enumerate(entries, start=1):
        read_entries.append(None)
        try:
            if not isinstance(entry, dict):
                raise Wrong(key, "must be an object")
            read_entries[-1] = read(entry)
        except Wrong as wrong:
            text = f"{name} {number}: {wrong}"
            complaints.append(Complaint(text, None, wrong.key))
        except FileComplaints as bad:
            complaints += [
                Complaint(f"{name} {number}: {complaint.text}", None, complaint.column)
                for complaint in bad.complaints
            ]
    return read_entries


def _part(entry: dict) -> Body:
    refuse_unknown(entry, ("name", "fixed", *GOES))
    name, fixed = name_of(entry, "name"), _yes(entry, "fixed")
    ways = [key for key in GOES if key in entry]
    if fixed and ways:
        raise Wrong(ways[0], f"{name!r} is fixed: it makes no motions")
    if len(ways) > 1:
        raise Wrong("adjusters", f"{name!r} has motions too: one of the two says how "
                                 "it goes")  # fmt: skip
    if "adjusters" in entry:
        return Body(name, False, None, _adjusters(entry))
    if "motions" not in entry:
        return Body(name, fixed)
    return Body(name, False, motions_in(entry["motions"]))


def _adjusters(entry: dict) -> tuple[Adjuster, ...] | None:
    """Those that stand here; None where a file is named."""
    rows = entry["adjusters"]
    if isinstance(rows, str):
        _path(entry, "adjusters")
        return None
    plain = isinstance(rows, list) and rows and all(isinstance(r, dict) for r in rows)
    if not plain:
        raise Wrong("adjusters", "must be the name of a file, or a list of its rows")
    names = list(dict.fromkeys(name for row in rows for name in row))
    cells = [[row.get(name, "") for name in names] for row in rows]
    if any(isinstance(cell, bool | list | dict | None) for r in cells for cell in r):
        raise Wrong("adjusters", "a row has texts and numbers only")
    text = io.StringIO()
    csv.writer(text).writerows([names, *cells])
    return adjusters_file.parse(text.getvalue().encode()).adjusters


def _joint(entry: dict, names: list[str]) -> JointEntry:
    known = ("joint", "readings", "part", "surround", "open", "outside")
    refuse_unknown(entry, known)
    files = [_path(entry, key) for key in ("joint", "readings")]
    sides = []
    for key in ("part", "surround"):
        name = name_of(entry, key)
        if name not in names:
            raise Wrong(key, f"{name!r} is not one of the parts: {', '.join(names)}")
        sides.append(names.index(name))
    if sides[0] == sides[1]:
        raise Wrong("surround", f"{names[sides[0]]!r} is on both sides")
    is_open, outside = _yes(entry, "open"), _yes(entry, "outside")
    if is_open and outside:
        text = "says nothing of an open seam: its surround is on the right when walking"
        raise Wrong("outside", f"{text} the rows")
    return JointEntry(*files, *sides, is_open, outside)


def _path(entry: dict, key: str) -> str:
    path = entry.get(key)
    plain = isinstance(path, str) and path.strip() and "\0" not in path
    if not plain or len(path) > LONGEST_PATH:
        raise Wrong(key, "must be the name of a file")
    return path


def _yes(entry: dict, key: str) -> bool:
    value = entry.get(key, False)
    if not isinstance(value, bool):
        raise Wrong(key, "must be true or false")
    return value
