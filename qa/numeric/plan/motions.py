"""How a part may move: a list of unit motions, and what each does to its places.

A motion k carries a point p by a_k v_k + (R(a_k w_k) - I)(p - o_k): a translation along
v, an exact rotation about the axis w through the origin o. Several motions are applied
in the order of the list, each about its own origin as it stands in the picture before
the part moves (Rodrigues' rotation formula). Free motion is written so that all
rotations come first: a point then moves by exactly t + (R - I)(p - c).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from shop.numeric.finite import finite

DIGITS_MM, DIGITS_DEG = 9, 11  # of amounts, as they are told
UNSEEN = 1e-3  # effect on the readings, per unit of movement at the rim
ALIKE = 1e-6  # share of a motion in what moves several bodies alike


IN_PLANE = ("x", "y", "turn")
OUT_OF_PLANE = ("z", "tilt_x", "tilt_y")


class NothingSeen(ValueError):
    """No reading changes whatever the part does."""


@dataclass(frozen=True)
class Motion:
    """One way to move. Amounts in mm, or in radians when there is a rotation.

    `translation` v in mm per unit of amount, `rotation` w a unit axis or zero, `origin`
    a point of that axis in mm, `low` and `high` the bounds of the amount. `free` is one
    of the six of a part that goes freely, any other has the name that somebody gave it;
    `part` says whose it is where several move.
    """

    name: str
    translation: tuple[float, float, float]
    rotation: tuple[float, float, float]
    origin: tuple[float, float, float]
    low: float
    high: float
    free: bool = False
    part: str = ""

    @cached_property
    def turns(self) -> bool:
        return any(self.rotation)

    @property
    def code(self) -> str | tuple:
        """What it is called: ("free", name[, part]), or the name that was given."""
        return of_part(("free", self.name) if self.free else self.name, self.part)

    @cached_property
    def along(self) -> np.ndarray:
        return np.array(self.translation)

    @cached_property
    def axis(self) -> np.ndarray:
        return np.array(self.rotation)

    @cached_property
    def around(self) -> np.ndarray:
        """The matrix (3, 3) that a small turn multiplies arms by."""
        return cross_matrix(self.rotation)


def free_motions(center, max_move, max_turn, max_raise, max_tilt) -> list[Motion]:
    """The six motions about `center`: lengths in mm, angles in radians.

    Rotations come first, so that the translations are those of the center.
    """
    finite(center=center, max_move=max_move, max_turn=max_turn)
    finite(max_raise=max_raise, max_tilt=max_tilt)
    zero = (0.0, 0.0, 0.0)
    about = tuple(float(c) for c in center)
    x, y, z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
    return [
        Motion("tilt_x", zero, x, about, -max_tilt, max_tilt, free=True),
        Motion("tilt_y", zero, y, about, -max_tilt, max_tilt, free=True),
        Motion("turn", zero, z, about, -max_turn, max_turn, free=True),
        Motion("x", x, zero, about, -max_move, max_move, free=True),
        Motion("y", y, zero, about, -max_move, max_move, free=True),
        Motion("z", z, zero, about, -max_raise, max_raise, free=True),
    ]


def of_part(code: str | tuple, part: str) -> str | tuple:
    """A motion (see `Motion.code`) with whose it is; "" where only one part moves."""
    if not part:
        return code
    if isinstance(code, str):
        return f"{part} {code}"
    return (*code, part) if code[0] == "free" else code


def cross_matrix(vector) -> np.ndarray:
    """The matrix (3, 3) that takes a vector to `vector` x it."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def rotation_matrix(vector) -> np.ndarray:
    """Exact rotation (3, 3) by a rotation vector in radians (Rodrigues' formula)."""
    x, y, z = vector
    angle = math.sqrt(x * x + y * y + z * z)
    cross = cross_matrix(vector)
    if angle < 1e-12:
        return np.eye(3) + cross
    sine = math.sin(angle) / angle
    versine = 2 * math.sin(angle / 2) ** 2 / angle**2  # no cancellation at small angles
    return np.eye(3) + sine * cross + versine * cross @ cross


def displace(
    places: np.ndarray, motions: Sequence[Motion], amounts
) -> tuple[np.ndarray, np.ndarray]:
    """Where places (n, 3) go: displacements (n, 3), and their rates (k, n, 3).

    Rates are the exact derivatives with respect to each amount, at these amounts.
    """
    moved = np.array(places, dtype=float)
    rates = np.zeros((len(motions), *moved.shape))
    for k, (motion, amount) in enumerate(zip(motions, amounts, strict=True)):
        if motion.turns:
            arms = moved - motion.origin
            if amount:
                turn = rotation_matrix(amount * motion.axis).T
                arms = arms @ turn
                if k:
                    rates[:k] = rates[:k] @ turn
            rates[k] = arms @ motion.around.T + motion.along
            moved = motion.origin + arms + amount * motion.along
        else:
            rates[k] = motion.along
            moved = moved + amount * motion.along
    return moved - places, rates


def rigid_move(motions, amounts, about) -> tuple[np.ndarray, np.ndarray]:
    """The move as a whole: how the point `about` shifts (3,) mm, rotation vector (3,).

    The rotation vector is in radians, right-handed.
    """
    shift = displace(np.array([about], dtype=float), motions, amounts)[0][0]
    return shift, rotation_vector(turned_by(motions, amounts))


def turned_by(motions: Sequence[Motion], amounts) -> np.ndarray:
    """The rotation (3, 3) of motions one after the other."""
    matrix = np.eye(3)
    for motion, amount in zip(motions, amounts, strict=True):
        matrix = rotation_matrix(amount * np.array(motion.rotation)) @ matrix
    return matrix


def rotation_vector(matrix: np.ndarray) -> np.ndarray:
    """The rotation vector (3,) in radians of a rotation (3, 3)."""
    axis = np.array(
        [
            matrix[2, 1] - matrix[1, 2],
            matrix[0, 2] - matrix[2, 0],
            matrix[1, 0] - matrix[0, 1],
        ]
    )
    sine = np.linalg.norm(axis) / 2
    angle = math.atan2(sine, (np.trace(matrix) - 1) / 2)
    return axis / 2 * (angle / sine if sine > 1e-12 else 1.0)


@dataclass(frozen=True)
class Freedom:
    """The motions of one problem in common units: mm of movement at the rim.

    `unit` (k,) is what one unit of each amount moves at the rim, rho the root-mean-
    square distance of the stations from their mean. `locked` (j, k) are directions of
    motion that no reading sees; they are held at zero. `held` names them. `bodies` (k,)
    say whose motion each is: columns of the `sides` of readings.
    """

    motions: tuple[Motion, ...]
    unit: np.ndarray
    low: np.ndarray
    high: np.ndarray
    locked: np.ndarray
    held: tuple
    bodies: np.ndarray

    def without(self, out: np.ndarray) -> "Freedom":
        """The same with the motions `out` (k,) held where they are."""
        low, high = np.where(out, 0.0, self.low), np.where(out, 0.0, self.high)
        return replace(self, low=low, high=high)

    def amounts(self, step: np.ndarray) -> np.ndarray:
        """Amounts in mm and radians from rim movements."""
        return np.asarray(step) / self.unit

    def rounded(self, step: np.ndarray) -> np.ndarray:
        """The rim movements as they can be told: to 1e-9 mm and 1e-11 degrees.

        What is judged is this move, not one with digits that nobody is given.
        """
        turns = np.array([motion.turns for motion in self.motions], dtype=bool)
        amounts = self.amounts(step)
        degrees = np.radians(np.round(np.degrees(amounts), DIGITS_DEG))
        rounded = np.where(turns, degrees, np.round(amounts, DIGITS_MM)) * self.unit
        return np.where(self.low == self.high, self.low, rounded)

    def own(self, body: int, before: int | None = None) -> np.ndarray:
        """Numbers of the motions of a body, of those before one where it is given."""
        return np.flatnonzero(self.bodies[:before] == body)

    def lines(self, places, directions, sides, step) -> tuple[np.ndarray, np.ndarray]:
        """Movement (m,) along `directions` (m, 3) at `step`, and its rates (m, k)."""
        amounts, along = self.amounts(step), np.zeros(len(places))
        slopes = np.zeros((len(places), len(self.motions)))
        for body, side in enumerate(sides.T):
            own = self.own(body)
            motions = [self.motions[k] for k in own]
            moved, rates = displace(places, motions, amounts[own])
            along += side * np.einsum("ij,ij->i", moved, directions)
            rates = np.einsum("kij,ij->ik", rates, directions)
            slopes[:, own] = side[:, None] * rates
        return along, slopes / self.unit


def freedom(
    motions, rho, places, directions, sides: np.ndarray | None = None, bodies=None
) -> Freedom:
    """What the readings at places (m, 3), each along its direction (m, 3), can see.

    A direction of motion is unseen when it changes the readings by less than a
    thousandth of its movement at the rim (root mean square). Motions whose bounds leave
    no choice do not count. `rho` is of all motions, or of each. Where several bodies
    move, `sides` (m, b) and `bodies` (k,) say what is whose, and how far a motion is
    held by what moves all alike is shared by how far each may go. Raises NothingSeen
    when none can be seen.
    """
    motions = tuple(motions)
    bodies = np.zeros(len(motions), dtype=int) if bodies is None else np.array(bodies)
    sides = np.ones((len(places), 1)) if sides is None else sides
    unit = _units(motions, rho)
    low = np.array([motion.low for motion in motions]) * unit
    high = np.array([motion.high for motion in motions]) * unit
    bare = Freedom(motions, unit, low, high, np.zeros((0, len(motions))), (), bodies)
    slopes = bare.lines(places, directions, sides, np.zeros(len(motions)))[1]
    felt = _sees(slopes)
    if not felt.any():
        raise NothingSeen("no reading can see any motion that the part may make")
    held = [motions[k].code for k in np.flatnonzero(~felt)]
    locked = list(np.eye(len(motions))[~felt])
    live = np.flatnonzero(felt & (high > low))
    if not len(live):
        return replace(bare, locked=np.eye(len(motions))[~felt], held=tuple(held))
    triangle = np.linalg.qr(slopes[:, live], mode="r")
    _, sizes, axes = np.linalg.svd(triangle, full_matrices=True)
    sizes = np.r_[sizes, np.zeros(len(live) - len(sizes))]
    reach = (high - low)[live] if sides.shape[1] > 1 else np.ones(len(live))
    for axis in axes[sizes < UNSEEN * math.sqrt(len(slopes))]:
        row = np.zeros(len(motions))
        row[live] = axis if axis[np.argmax(np.abs(axis))] > 0 else -axis
        several = len(set(bodies[np.abs(row) > ALIKE])) > 1
        held.append(("alike",) if several else described(motions, row / unit))
        row[live] /= reach
        locked.append(row / np.linalg.norm(row))
    rows = np.array(locked).reshape(-1, len(motions))
    return replace(bare, locked=rows, held=tuple(held))


def seen(motions: Sequence[Motion], rho: float, places, directions) -> np.ndarray:
    """Whether readings at places (m, 3), along directions (m, 3), see each motion."""
    _, rates = displace(places, motions, np.zeros(len(motions)))
    return _sees(np.einsum("kij,ij->ik", rates, directions) / _units(motions, rho))


def _sees(slopes: np.ndarray) -> np.ndarray:
    return np.linalg.norm(slopes, axis=0) >= UNSEEN * math.sqrt(max(1, len(slopes)))


def _units(motions: Sequence[Motion], rho) -> np.ndarray:
    rhos = np.broadcast_to(rho, len(motions)).tolist()
    return np.array([_rim(*each) for each in zip(motions, rhos, strict=True)])


def _rim(motion: Motion, rho: float) -> float:
    """Movement at the rim per unit of amount: |v| and rho |w| at right angles."""
    size = math.hypot(*motion.translation, rho * math.hypot(*motion.rotation))
    if not size:
        raise ValueError(f"motion {motion.name!r} neither moves nor turns")
    return size


def described(motions: Sequence[Motion], amounts: np.ndarray) -> tuple:
    """A combination of motions: ("sliding", direction) or ("turning", point mm) with
    the direction of the axis where it does not stand on the plane."""
    shift, turn = np.zeros(3), np.zeros(3)
    for motion, amount in zip(motions, amounts, strict=True):
        axis = np.array(motion.rotation)
        shift += amount * (np.array(motion.translation) + np.cross(motion.origin, axis))
        turn += amount * axis
    size = np.linalg.norm(turn)
    if size * 1e5 < np.linalg.norm(shift):  # a turn about a point over 100 m away
        return "sliding", _rounded(shift / np.linalg.norm(shift), 3)
    pivot = np.cross(turn, shift) / size**2  # the point of the axis nearest the origin
    if size and not np.any(np.abs(turn[:2]) > 1e-9 * size):
        return "turning", _rounded(pivot[:2], 1)
    return "turning", _rounded(pivot, 1), _rounded(turn / size, 3)


def _rounded(vector, places: int) -> tuple[float, ...]:
    return tuple(round(float(v), places) + 0.0 for v in vector)
