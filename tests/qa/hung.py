"""Doors that hang on two hinges and a latch, for the tests of settings and ways."""

import math

from qa.demo.holding import state
from tests.qa.making import read
from tests.qa.planned import a_check, a_joint


def hung_check(by, count=12, typical="hinged", **said):
    """An open check of a door whose holding is on record."""
    joint = a_joint(by, count, **said)
    state({"emil": by}, joint, typical)
    return a_check(by, joint)


def turned(point, about, angles, shift):
    """Where a point goes: tilt_x, tilt_y, turn about a center, then a shift. Own code,
    by plain trigonometry, apart from the product's."""
    x, y, z = (p - c for p, c in zip(point, about, strict=True))
    a, b, c = angles
    y, z = y * math.cos(a) - z * math.sin(a), y * math.sin(a) + z * math.cos(a)
    x, z = x * math.cos(b) + z * math.sin(b), -x * math.sin(b) + z * math.cos(b)
    x, y = x * math.cos(c) - y * math.sin(c), x * math.sin(c) + y * math.cos(c)
    return tuple(p + q + s for p, q, s in zip((x, y, z), about, shift, strict=True))


def read_displaced(check, angles=(0, 0, 0), shift=(0, 0, 0), middle=2.25, **more):
    """Read a door that was moved rigidly from its middle; more: what a station reads
    more, s3=-0.9."""
    for one in check.fit_up.revision.stations.all():
        place = (one.x_nm / 1e6, one.y_nm / 1e6, one.z_nm / 1e6)
        gap = tuple(getattr(one, f"gap_{axis}_e9") / 1e9 for axis in "xyz")
        face = tuple(getattr(one, f"face_{axis}_e9") / 1e9 for axis in "xyz")
        to = turned(place, (0, 0, 0), angles, shift)
        moved = [q - p for p, q in zip(place, to, strict=True)]
        closes = sum(m * n for m, n in zip(moved, gap, strict=True))
        rises = sum(m * n for m, n in zip(moved, face, strict=True))
        off = more.get(f"s{one.label}", 0.0)
        read(check, one.label, "gap", f"{middle - closes + off:.4f}")
        read(check, one.label, "flush", f"{rises:.4f}")
