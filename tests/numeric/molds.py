"""Parts pulled from molds that are known, and a second way to what they tell."""

from dataclasses import dataclass

import numpy as np

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.tool.characteristics import characteristics, free_to_move
from qa.numeric.tool.estimate import PulledReading


def curved(count=12, gap=(1.0, 3.0), flush=(-0.5, 0.5)):
    """A closed seam on a barrel: faces lean, and motions touch gap and flushness."""
    turns = 2 * np.pi * np.arange(count) / count
    places = np.c_[400 * np.cos(turns), 300 * np.sin(turns), np.zeros(count)]
    places[:, 2] = -(places[:, 0] ** 2) / 1600
    faces = np.c_[places[:, 0] / 800, np.zeros(count), np.ones(count)]
    ways = np.c_[np.cos(turns) / 400, np.sin(turns) / 300, np.zeros(count)]
    return build_joint(
        Station(
            str(number),
            tuple(map(float, place)),
            gap_direction=tuple(map(float, way)),
            face=tuple(map(float, face)),
            gap=Limits(*gap),
            flush=Limits(*flush),
        )
        for number, (place, way, face) in enumerate(
            zip(places, ways, faces, strict=True), start=1
        )
    )


@dataclass
class Mold:
    """A mold with a tool (2n,) mm off target, whose parts have errors of sd (2n,) mm
    and sit anyhow."""

    joint: object
    tool: np.ndarray
    sd: np.ndarray
    random: np.random.Generator
    motions: tuple | None = None

    def __post_init__(self):
        if self.motions is None:
            self.motions = free_to_move(self.joint)
        self.asked = characteristics(self.joint, self.motions)

    def errors(self):
        return self.random.normal(size=len(self.tool)) * self.sd

    def values(self, errors, opening=0.0, sits_mm=1.0):
        """Readings (2n,) of a part, seated anyhow."""
        slopes = self.asked.slopes
        sits = slopes @ self.random.normal(size=slopes.shape[1]) * sits_mm
        return self.asked.target + self.tool + opening + sits + errors

    def part(self, name, *, opening="", there=0.0, errors=None, sits_mm=1.0):
        """The readings of a part."""
        errors = self.errors() if errors is None else errors
        return readings(name, self.values(errors, there, sits_mm), opening)

    def parts(self, count):
        return [r for k in range(count) for r in self.part(f"P{k}")]


def readings(name, values, opening=""):
    """The readings of a part from values (2n,); NaN was not measured."""
    count = len(values) // 2
    told = [None if np.isnan(v) else float(v) for v in values]
    return [
        PulledReading(name, row, told[row], told[row + count], opening)
        for row in range(count)
    ]


def numbers(report, name):
    """One number of every characteristic (2n,), NaN where there is none."""
    return np.array([getattr(value, name) for value in report.values], dtype=float)


def dense(joint, motions, given, kinds=("gap", "flush")):
    """(tool, unit covariance, residual sum of squares, degrees of freedom) by kind.

    One row of a design matrix a reading, one column each for the tool at a place, for
    an opening at a place (the last is minus the sum of the others) and for a motion of
    a seating; solved by the singular value decomposition as a whole, the tool then made
    the least that explains the same. Motions are written down as displacements of a
    point, by their own formula. Characteristics are named (row, kind).
    """
    rows = [
        (r, (r.station, kind), getattr(r, f"{kind}_mm"))
        for r in given
        for kind in kinds
        if getattr(r, f"{kind}_mm") is not None
    ]
    names = sorted({key for _, key, _ in rows})
    seatings = sorted({(r.part, r.opening) for r, _, _ in rows})
    openings = sorted({r.opening for r, _, _ in rows})
    m, q, s = len(names), len(motions), len(openings)
    matrix = np.zeros((len(rows), m * s + q * len(seatings)))
    right = np.zeros(len(rows))
    for line, (reading, (row, kind), value) in enumerate(rows):
        station = joint.stations[row]
        limits = getattr(station, kind)
        right[line] = value - (limits.low + limits.high) / 2
        place = names.index((row, kind))
        matrix[line, place] = 1
        number = openings.index(reading.opening)
        for other in range(s - 1):
            sign = -1 if number == s - 1 else float(number == other)
            matrix[line, m * (1 + other) + place] = sign
        first = m * s + q * seatings.index((reading.part, reading.opening))
        for k, motion in enumerate(motions):
            arm = np.subtract(station.place, motion.origin)
            moved = np.add(motion.translation, np.cross(motion.rotation, arm))
            way = np.negative(station.gap_direction) if kind == "gap" else station.face
            size = 400.0 if any(motion.rotation) else 1.0
            matrix[line, first + k] = moved @ way / size
    left, sizes, axes = np.linalg.svd(matrix, full_matrices=True)
    live = np.zeros(len(axes), dtype=bool)
    live[: len(sizes)] = sizes > 1e-8 * sizes[0]
    solution = axes[live].T @ (
        (left[:, : live.sum()].T @ right) / sizes[sizes > 1e-8 * sizes[0]]
    )
    unknown = np.linalg.svd(axes[~live][:, :m].T)
    basis = unknown[0][:, : int((unknown[1] > 1e-8).sum())]
    keep = np.eye(m) - basis @ basis.T
    spread = axes[live].T / sizes[sizes > 1e-8 * sizes[0]]
    covariance = keep @ (spread @ spread.T)[:m, :m] @ keep
    residual = right - matrix @ solution
    return (
        dict(zip(names, keep @ solution[:m], strict=True)),
        dict(zip(names, np.diag(covariance), strict=True)),
        float(residual @ residual),
        len(rows) - int(live.sum()),
    )
