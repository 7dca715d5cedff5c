"""A cowl in two halves on a fuselage, and other parts that share seams; what a move of
several parts does, done exactly and apart from the product."""

import math

import numpy as np

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.bodies import Between, Body
from qa.numeric.plan.joint_arrays import Measured
from tests.numeric import exactly

FUSELAGE, LOWER, UPPER = 0, 1, 2
GAP, FLUSH = (0.5, 1.5), (-0.3, 0.3)
LONG, RADIUS, TAPER = 700.0, 320.0, 0.12  # of the cowl, mm


def skin(x, around):
    """(place, outward, along): a point of the cowl, which narrows towards x = LONG."""
    radius = RADIUS - TAPER * x
    out = np.array([0.0, math.cos(around), math.sin(around)])
    place = np.array([x, *(radius * out[1:])])
    face = out + np.array([TAPER, 0.0, 0.0])
    along = np.array([1.0, 0.0, 0.0]) - TAPER * out
    return place, face / np.linalg.norm(face), along / np.linalg.norm(along)


def ring(low, high, count):
    """The rear edge of a half, towards the fuselage (x = 0), walked so that it lies on
    the right."""
    stations = []
    for number, around in enumerate(np.linspace(low, high, count)):
        place, face, along = skin(0.0, math.radians(around))
        stations.append(_station(number, place, -along, face))
    return build_joint(stations, closed=False)


def side(around, count):
    """A seam between the halves, at one angle: the gap lies across it, from the upper
    one down."""
    stations, ends = [], [20.0, LONG - 20.0]
    if around == 0:
        ends.reverse()
    around = math.radians(around)
    for number, x in enumerate(np.linspace(*ends, count)):
        place, face, along = skin(x, around)
        across = np.cross(face, along) * (1.0 if math.cos(around) > 0 else -1.0)
        stations.append(_station(number, place, across, face))
    return build_joint(stations, closed=False)


def _station(number, place, normal, face):
    return Station(
        str(number + 1),
        tuple(round(float(v), 6) for v in place),
        tuple(normal),
        tuple(face),
        gap=Limits(*GAP),
        flush=Limits(*FLUSH),
    )


def cowl(count):
    """[(joint, part, surround)] of a cowl in two halves, `count` stations a joint."""
    return [
        (ring(-180, 0, count), LOWER, FUSELAGE),
        (ring(0, 180, count), UPPER, FUSELAGE),
        (side(0, count), UPPER, LOWER),
        (side(180, count), UPPER, LOWER),
    ]


def readings(joints, moves, random, noise=0.0, shy=0.0):
    """[(gaps, flushes)] to the micrometer of joints whose bodies stand off their place
    by `moves`, {body: (shift (3,) mm, rotation vector (3,) rad about the origin)}."""
    found = []
    for joint, part, surround in joints:
        apart = displaced(joint.places, moves.get(part)) - displaced(
            joint.places, moves.get(surround)
        )
        count = len(joint.stations)
        middle = sum(GAP) / 2 - shy
        gaps = middle - np.einsum("ij,ij->i", joint.gap_directions, apart)
        flushes = np.einsum("ij,ij->i", joint.faces, apart)
        gaps = np.maximum(gaps + random.normal(0, noise, count), 0.01)
        flushes = flushes + random.normal(0, noise / 3, count)
        found.append((np.round(gaps, 3).tolist(), np.round(flushes, 3).tolist()))
    return found


def displaced(places, move):
    if move is None:
        return np.zeros_like(places)
    shift, turn = move
    return exactly.Rotation.from_rotvec(turn).apply(np.array(places)) + shift - places


def betweens(joints, read):
    return [
        Between(Measured(joint, gaps, flushes), part, (surround,) * len(joint.stations))
        for (joint, part, surround), (gaps, flushes) in zip(joints, read, strict=True)
    ]


def bodies(fixed=(FUSELAGE,), names=("fuselage", "lower", "upper")):
    return [Body(name, fixed=k in fixed) for k, name in enumerate(names)]


def after(joints, read, plan):
    """[(gaps, flushes)] after the told moves and cuts, with our own rotation, mm.

    A free part turns about the mean of its stations: tilt_x, tilt_y, turn, then shifts.
    """
    found = []
    centers = _centers(joints)
    for number, ((joint, part, surround), (gaps, flushes)) in enumerate(
        zip(joints, read, strict=True)
    ):
        apart = _gone(joint.places, plan.parts[part], centers.get(part))
        apart -= _gone(joint.places, plan.parts[surround], centers.get(surround))
        told = plan.joints[number].stations
        cut = [one.trim - one.build_up for one in told]
        closes = np.einsum("ij,ij->i", joint.gap_directions, apart)
        rises = np.einsum("ij,ij->i", joint.faces, apart)
        found.append(
            (
                [None if g is None else g - c + t
                 for g, c, t in zip(gaps, closes, cut, strict=True)],
                [None if f is None else f + r
                 for f, r in zip(flushes, rises, strict=True)],
            )
        )  # fmt: skip
    return found


def _centers(joints):
    places = {}
    for joint, *ends in joints:
        for body in ends:
            places.setdefault(body, []).append(joint.places)
    return {body: np.vstack(rows).mean(axis=0) for body, rows in places.items()}


def _gone(places, part, center):
    """How far one part goes at places (n, 3), from what is told of its move."""
    if part.fixed:
        return np.zeros_like(places)
    told = {"tilt_x": 0.0, "tilt_y": 0.0, "turn": 0.0, "x": 0.0, "y": 0.0, "z": 0.0}
    told |= dict(part.move.amounts)
    turn = exactly.about("z", told["turn"]) @ exactly.about("y", told["tilt_y"])
    turn = turn @ exactly.about("x", told["tilt_x"])
    shift = np.array([told["x"], told["y"], told["z"]])
    return (places - center) @ turn.T + center + shift - places
