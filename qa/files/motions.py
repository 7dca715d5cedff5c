"""How a part may move, as a JSON file.

    {"motions": [{"name": "swing", "translation": [0, 0, 0], "rotation": [0, 0, 1],
                  "origin": [400, 0, 0], "min": -2, "max": 2}]}

A motion moves along `translation` or turns about the axis `rotation` through `origin`
(mm), or both. Amounts and bounds are mm for a motion without rotation, where the
translation is made a unit vector; with one they are degrees, the rotation is made a
unit axis, and the translation is mm per degree (a screw). Motions are applied in the
order of the list. A direction left out is zero, an origin left out is 0, 0, 0.
"""

import math

from qa.files import json_text
from qa.files.columns import Complaint, FileComplaints
from qa.files.json_text import Wrong, name_of, refuse_unknown
from qa.numeric.plan.motions import Motion

KEYS = ("name", "translation", "rotation", "origin", "min", "max")
MOST_MOTIONS = 12
FURTHEST_MM = 100_000.0


def parse(data: bytes) -> tuple[Motion, ...]:
    """The motions in a file. Raises FileComplaints with all that is wrong."""
    content = json_text.parse(data)
    return motions_in(content.get("motions") if isinstance(content, dict) else content)


def motions_in(entries) -> tuple[Motion, ...]:
    """The motions of a list. Raises FileComplaints with all that is wrong."""
    if not isinstance(entries, list) or not entries:
        reason = 'a list of motions is needed: {"motions": [...]}'
        raise FileComplaints([Complaint(reason, 1)])
    if len(entries) > MOST_MOTIONS:
        reason = f"{len(entries)} motions; at most {MOST_MOTIONS}"
        raise FileComplaints([Complaint(reason, 1)])
    complaints: list[Complaint] = []
    motions, names = [], set()
    for number, entry in enumerate(entries, start=1):
        try:
            motion = _motion(entry)
            if motion.name in names:
                raise Wrong("name", f"{motion.name!r} is there twice")
        except Wrong as wrong:
            place = f"motion {number}"
            complaints.append(Complaint(f"{place}: {wrong}", None, wrong.key))
        else:
            names.add(motion.name)
            motions.append(motion)
    if complaints:
        raise FileComplaints(complaints)
    return tuple(motions)


def _motion(entry) -> Motion:
    if not isinstance(entry, dict):
        raise Wrong("motions", "must be an object with name, min, max ...")
    refuse_unknown(entry, KEYS)
    name = name_of(entry, "name")
    along, axis = _vector(entry, "translation"), _vector(entry, "rotation")
    low, high = _number(entry.get("min"), "min"), _number(entry.get("max"), "max")
    if low > high:
        raise Wrong("min", f"{low:g} is above max {high:g}")
    if math.hypot(*axis) > 0:
        if max(abs(low), abs(high)) > 45:
            raise Wrong("max", "a turn must stay within 45 degrees")
        axis = _unit(axis, "rotation")
        along = tuple(math.degrees(v) for v in along)  # mm per radian
        low, high = math.radians(low), math.radians(high)
    elif math.hypot(*along) > 0:
        along = _unit(along, "translation")
    else:
        raise Wrong("translation", "the motion neither moves nor turns")
    origin = _vector(entry, "origin")
    return Motion(name, along, axis, origin, low, high)


def _vector(entry: dict, key: str) -> tuple[float, float, float]:
    value = entry.get(key, [0, 0, 0])
    if not isinstance(value, list) or len(value) != 3:
        raise Wrong(key, "must be a list of three numbers")
    x, y, z = (_number(part, key) for part in value)
    return x, y, z


def _number(value, key: str) -> float:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not abs(value) <= FURTHEST_MM:  # also refuses what is no number
        raise Wrong(key, "must be a finite number, at most 100000 either way")
    return float(value)


def _unit(vector, key: str) -> tuple[float, float, float]:
    size = math.hypot(*vector)
    if size < 1e-9:
        raise Wrong(key, "is too short to give a direction")
    x, y, z = (v / size for v in vector)
    return x, y, z
