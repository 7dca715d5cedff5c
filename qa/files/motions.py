"""How a part may move, as a JSON file.

    {"motions": [{"name": "swing", "translation": [0, 0, 0], "rotation": [0, 0, 1],
                  "origin": [400, 0, 0], "min": -2, "max": 2}]}

A motion moves along `translation` or turns about the axis `rotation` through `origin`
(mm), or both. Amounts and bounds are mm for a motion without rotation, where the
translation is made a unit vector; with one they are degrees, the rotation is made a
unit axis, and the translation is mm per degree (a screw). Motions are applied in the
order of the list. A direction left out is zero, an origin left out is 0, 0, 0.
"""

import json
import math

from qa.files.columns import MAX_BYTES, Complaint, FileComplaints
from qa.numeric.plan.motions import Motion

KEYS = ("name", "translation", "rotation", "origin", "min", "max")
MOST_MOTIONS = 12
FURTHEST_MM = 100_000.0
LONGEST_NAME = 40


def parse(data: bytes) -> tuple[Motion, ...]:
    """The motions in a file. Raises FileComplaints with all that is wrong."""
    entries = _entries(data)
    complaints: list[Complaint] = []
    motions, names = [], set()
    for number, entry in enumerate(entries, start=1):
        try:
            motion = _motion(entry)
            if motion.name in names:
                raise _Wrong("name", f"{motion.name!r} is there twice")
        except _Wrong as wrong:
            place = f"motion {number}"
            complaints.append(Complaint(f"{place}: {wrong}", None, wrong.key))
        else:
            names.add(motion.name)
            motions.append(motion)
    if complaints:
        raise FileComplaints(complaints)
    return tuple(motions)


class _Wrong(ValueError):
    def __init__(self, key: str, text: str):
        self.key = key
        super().__init__(text)


def _entries(data: bytes) -> list:
    if len(data) > MAX_BYTES:
        raise FileComplaints([Complaint("the file is too large")])
    try:
        found = json.loads(data.decode("utf-8-sig"), object_pairs_hook=_once_each)
    except UnicodeDecodeError as why:
        raise FileComplaints([Complaint("this is not UTF-8 text", 1)]) from why
    except json.JSONDecodeError as why:
        reason = f"this is not JSON: {why.msg} (column {why.colno})"
        raise FileComplaints([Complaint(reason, why.lineno)]) from why
    except _Wrong as wrong:
        raise FileComplaints([Complaint(str(wrong), None, wrong.key)]) from wrong
    except ValueError as why:  # a number of thousands of digits
        raise FileComplaints([Complaint("a number is far too long", 1)]) from why
    except RecursionError as why:
        raise FileComplaints([Complaint("this is nested too deeply", 1)]) from why
    entries = found.get("motions") if isinstance(found, dict) else found
    if not isinstance(entries, list) or not entries:
        reason = 'a list of motions is needed: {"motions": [...]}'
        raise FileComplaints([Complaint(reason, 1)])
    if len(entries) > MOST_MOTIONS:
        reason = f"{len(entries)} motions; at most {MOST_MOTIONS}"
        raise FileComplaints([Complaint(reason, 1)])
    return entries


def _once_each(pairs: list[tuple]) -> dict:
    """An object of the file; JSON itself would let the last of two equal keys win."""
    found = {}
    for key, value in pairs:
        if key in found:
            one = json.dumps(found[key])[:LONGEST_NAME]
            other = json.dumps(value)[:LONGEST_NAME]
            raise _Wrong(key, f"is there twice in one object, as {one} and {other}")
        found[key] = value
    return found


def _motion(entry) -> Motion:
    if not isinstance(entry, dict):
        raise _Wrong("motions", "must be an object with name, min, max ...")
    unknown = sorted(set(entry) - set(KEYS))
    if unknown:
        raise _Wrong(unknown[0], f"is not known (known: {', '.join(KEYS)})")
    name = entry.get("name")
    plain = isinstance(name, str) and name.strip() and name.isprintable()
    if not plain or len(name) > LONGEST_NAME:
        raise _Wrong("name", f"must be up to {LONGEST_NAME} plain characters")
    along, axis = _vector(entry, "translation"), _vector(entry, "rotation")
    low, high = _number(entry.get("min"), "min"), _number(entry.get("max"), "max")
    if low > high:
        raise _Wrong("min", f"{low:g} is above max {high:g}")
    if math.hypot(*axis) > 0:
        if max(abs(low), abs(high)) > 45:
            raise _Wrong("max", "a turn must stay within 45 degrees")
        axis = _unit(axis, "rotation")
        along = tuple(math.degrees(v) for v in along)  # mm per radian
        low, high = math.radians(low), math.radians(high)
    elif math.hypot(*along) > 0:
        along = _unit(along, "translation")
    else:
        raise _Wrong("translation", "the motion neither moves nor turns")
    origin = _vector(entry, "origin")
    return Motion(name.strip(), along, axis, origin, low, high)


def _vector(entry: dict, key: str) -> tuple[float, float, float]:
    value = entry.get(key, [0, 0, 0])
    if not isinstance(value, list) or len(value) != 3:
        raise _Wrong(key, "must be a list of three numbers")
    x, y, z = (_number(part, key) for part in value)
    return x, y, z


def _number(value, key: str) -> float:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not abs(value) <= FURTHEST_MM:  # also refuses what is no number
        raise _Wrong(key, "must be a finite number, at most 100000 either way")
    return float(value)


def _unit(vector, key: str) -> tuple[float, float, float]:
    size = math.hypot(*vector)
    if size < 1e-9:
        raise _Wrong(key, "is too short to give a direction")
    x, y, z = (v / size for v in vector)
    return x, y, z
