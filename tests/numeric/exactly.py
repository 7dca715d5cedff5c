"""A move done exactly, and readings judged in fractions: apart from the product."""

import math
from fractions import Fraction

import numpy as np
from scipy.spatial.transform import Rotation

from qa.numeric.geometry.joint import Limits, Station, build_joint


def about(axis, degrees):
    """Right-handed rotation matrix about an axis of the drawing, "x", "y" or "z"."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array(
        {
            "x": [[1, 0, 0], [0, c, -s], [0, s, c]],
            "y": [[c, 0, s], [0, 1, 0], [-s, 0, c]],
            "z": [[c, -s, 0], [s, c, 0], [0, 0, 1]],
        }[axis]
    )


def moved(joint, move, motions=None):
    """Where the stations go: tilt about x, then y, then the turn, then the shift.

    With motions of its own (shift, axis, origin) each by its amount, mm or degrees, in
    their order.
    """
    places = joint.places
    if motions is None:
        turn = about("z", move.turn_deg)
        turn = turn @ about("y", move.tilt_y_deg) @ about("x", move.tilt_x_deg)
        center = places.mean(axis=0)
        shift = np.array([move.x_mm, move.y_mm, move.z_mm])
        return (places - center) @ turn.T + center + shift - places
    for (_, amount), (shift, axis, origin) in zip(move.amounts, motions, strict=True):
        if axis is None:
            places = places + amount * np.array(shift)
        else:
            turn = Rotation.from_rotvec(math.radians(amount) * np.array(axis))
            places = turn.apply(places - origin) + origin
    return places - joint.places


def after(joint, plan, gaps, flushes, motions=None):
    """(gap, flush) of each station in nm as fractions, None where not measured."""
    ways, found = moved(joint, plan.move, motions), []
    for row, told in enumerate(plan.stations):
        gap, flush = gaps[row], flushes[row]
        if gap is not None:
            gap = Fraction(gap) - Fraction(float(joint.gap_directions[row] @ ways[row]))
            gap = (gap + Fraction(told.trim) - Fraction(told.build_up)) * 10**6
        if flush is not None:
            flush = Fraction(flush) + Fraction(float(joint.faces[row] @ ways[row]))
            flush *= 10**6
        found.append((gap, flush))
    return found


def misses(value_nm, limits, guard_nm=0):
    """How far a reading of this many nm is outside its drawn-in limits, whole nm."""
    read = round(value_nm)
    low, high = (None if v is None else round(v * 10**6) for v in limits)
    under = 0 if low is None else low + guard_nm - read
    over = 0 if high is None else read - (high - guard_nm)
    return max(0, under, over)


def all_misses(joint, plan, gaps, flushes, guards=(0, 0), motions=None):
    """Whole nm outside limits (or below zero, for a gap) of every reading."""
    found = []
    for station, (gap, flush) in zip(
        joint.stations, after(joint, plan, gaps, flushes, motions), strict=True
    ):
        if gap is not None:
            limits = station.gap.low, station.gap.high
            found.append(max(misses(gap, limits, guards[0]), -round(gap), 0))
        if flush is not None:
            limits = station.flush.low, station.flush.high
            found.append(misses(flush, limits, guards[1]))
    return found


def seam(random, count, curve=0.0, *, closed=True, flush=True):
    """A rounded door of `count` stations; `curve` mm is how far it bulges out of flat.

    Places to the nanometer; directions follow the bulge as a skin would.
    """
    wide, high = random.uniform(150, 500, 2)
    around = (np.arange(count) + random.uniform(-0.3, 0.3, count)) * 2 * np.pi / count
    power = random.uniform(0.5, 1.0)
    x = wide * np.sign(np.cos(around)) * np.abs(np.cos(around)) ** power
    y = high * np.sign(np.sin(around)) * np.abs(np.sin(around)) ** power
    slope = -2 * curve / wide**2 * x
    z = curve * (1 - (x / wide) ** 2)
    low = round(float(random.uniform(0.8, 1.6)), 2)
    stations = []
    for k in range(count):
        one, other = (k + 1) % count, k - 1
        nx, ny = y[one] - y[other], -(x[one] - x[other])
        if not closed and k in (0, count - 1):
            near = min(k + 1, count - 1), max(k - 1, 0)
            nx, ny = y[near[0]] - y[near[1]], -(x[near[0]] - x[near[1]])
        face = np.array([-slope[k], 0.0, 1.0])
        normal = np.array([nx, ny, nx * slope[k]])
        stations.append(
            Station(
                str(k),
                tuple(round(float(v), 6) for v in (x[k], y[k], z[k])),
                tuple(normal / np.linalg.norm(normal)),
                tuple(face / np.linalg.norm(face)),
                gap=Limits(low, low + 1.5),
                flush=Limits(-0.4, 0.4) if flush else Limits(),
            )
        )
    return build_joint(stations, closed=closed)
