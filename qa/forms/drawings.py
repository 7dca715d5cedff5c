"""A drawing that was chosen: its stations as the text of a file, or its seam as corner
points along which they are laid."""

from dataclasses import replace

import numpy as np
from django.conf import settings
from django.utils.translation import gettext as _

from qa.files import drawing as drawings
from qa.files.columns import Complaint, FileComplaints
from qa.files.drawing import Drawing
from qa.files.joint_text import MOST_STATIONS, decimal9, write
from qa.numeric.geometry import seam
from shop.numeric.units import (
    BYTES_PER_MB,
    E9,
    format_length,
    to_nm,
)

BESIDE_MM = 1.0  # a station that is farther from its seam is a slip


def drawing_of_upload(upload, *, layer: str, unit: str) -> Drawing:
    """Read it, or raise FileComplaints."""
    limit = settings.UPLOAD_LIMIT_BYTES
    if upload.size > limit:
        size = f"{upload.size / BYTES_PER_MB:.1f} MB; at most {limit / BYTES_PER_MB:g}"
        raise FileComplaints([Complaint(f"the file is too large: {size} MB")])
    return drawings.read(upload.read(), layer=layer.strip(), unit=unit)


def what_was_read(drawn: Drawing) -> str:
    """In words: which curve, how long, in which unit, how near to what is drawn."""
    words = {
        "layer": drawn.layer,
        "length": f"{drawn.curve.length:.1f}",
        "within": f"{drawings.WITHIN_MM:g}",
        "unit": drawn.unit,
    }
    form = (
        _("a closed seam of %(length)s mm on layer %(layer)s, within %(within)s mm")
        if drawn.curve.closed
        else _("an open seam of %(length)s mm on layer %(layer)s, within %(within)s mm")
    )
    unit = (
        _("the unit of its header: %(unit)s")
        if drawn.unit
        else _("its header names no unit: lengths as chosen beside")
    )
    return f"{form}; {unit}" % words


def stations_text(drawn: Drawing, *, part_inside: bool) -> str:
    """The marked stations as the text of a joint file. Raises FileComplaints."""
    marks = drawn.marks
    if len(marks) > MOST_STATIONS:
        raise FileComplaints([Complaint(f"more than {MOST_STATIONS} stations in it")])
    places = np.array([mark.place for mark in marks])
    if not drawn.flat:
        return _in_space(drawn, places)
    drawn = replace(drawn, curve=_as_walked(drawn, places))
    ways, away = seam.gap_directions(drawn.curve, places, part_inside=part_inside)
    _refuse_beside(marks, away)
    named = all(mark.name for mark in marks)
    order = range(len(marks)) if named else _along(drawn, places)
    return write(
        [
            _row(marks[row], ways[row], marks[row].name or str(number))
            for number, row in enumerate(order, start=1)
        ]
    )


def _refuse_beside(marks, away: np.ndarray) -> None:
    if away.max() > BESIDE_MM:
        at = ", ".join(f"{part:.2f}" for part in marks[int(away.argmax())].place)
        reason = f"a station at ({at}) is {away.max():.2f} mm off the seam"
        raise FileComplaints([Complaint(reason)])


def _in_space(drawn: Drawing, places: np.ndarray) -> str:
    """Of a seam that is not flat: which way a gap lies, and what is out of the surface,
    no line tells; nor which way round the stations are walked, but their names."""
    missing = [
        (mark, layer)
        for mark in drawn.marks
        for layer, where in (
            (drawings.GAP_LAYER, mark.direction),
            (drawings.FACE_LAYER, mark.face),
        )
        if not where
    ]
    if missing:
        mark, layer = missing[0]
        at = ", ".join(f"{part:.2f}" for part in mark.place)
        reason = (
            f"the seam is not flat: each station needs a line on the layers "
            f"{drawings.GAP_LAYER} and {drawings.FACE_LAYER}; station "
            f"{mark.name or f'at ({at})'} has none on {layer}"
        )
        raise FileComplaints([Complaint(reason)])
    if not all(mark.name for mark in drawn.marks):
        reason = "the seam is not flat: name its stations, in the order of the seam"
        raise FileComplaints([Complaint(reason)])
    _refuse_beside(drawn.marks, seam.distances_from(drawn.curve, places))
    return write([_row(mark, mark.direction, mark.name) for mark in drawn.marks])


def _as_walked(drawn: Drawing, places: np.ndarray) -> seam.Curve:
    """The curve; an open one in the way in which the surround is on the right.

    Which way a line was drawn says nothing: the order of named stations does, or a
    line that says where the gap of one is. Raises FileComplaints where neither is.
    """
    curve, marks = drawn.curve, drawn.marks
    if curve.closed:
        return curve
    arrows = [row for row, mark in enumerate(marks) if mark.direction]
    if len(marks) > 1 and all(mark.name for mark in marks):
        along = seam.distances_to(curve, places)
        back = along[-1] < along[0]
    elif arrows:
        ways, _away = seam.gap_directions(curve, places)
        back = sum(np.dot(marks[row].direction, ways[row]) for row in arrows) < 0
    else:
        reason = (
            "an open seam does not say on which side the part is: name its stations in "
            "their order, the surround on the right, or draw a line from one on the "
            f"layer {drawings.GAP_LAYER}"
        )
        raise FileComplaints([Complaint(reason)])
    return replace(curve, points=curve.points[::-1]) if back else curve


def _along(drawn: Drawing, places: np.ndarray) -> list[int]:
    """Rows in the order of the seam, a closed one counter-clockwise."""
    back = drawn.curve.closed and seam.turning_sense_of(drawn.curve) < 0
    along = seam.distances_to(drawn.curve, places)
    return sorted(range(len(places)), key=lambda row: along[row], reverse=bool(back))


def _row(mark: drawings.Mark, way: np.ndarray, name: str) -> dict:
    cells: dict = {"station": name}
    for axis, value in zip("xyz", mark.place, strict=False):
        cells[axis] = (format_length(to_nm(value), "mm"), "mm")
    cells |= _direction("normal", mark.direction if mark.direction else way)
    return cells | (_direction("face", mark.face) if len(mark.place) == 3 else {})


def _direction(name: str, way) -> dict[str, str]:
    unit = np.array(way, dtype=float) / np.linalg.norm(way)
    return {
        f"{name}_{axis}": decimal9(round(float(part) * E9))
        for axis, part in zip("xyz", unit, strict=False)
    }


def corner_points(drawn: Drawing, unit: str) -> str:
    """The seam as corner points, one a line, in the unit that is typed beside."""
    places = {"mm": 4, "in": 6}[unit]
    return "\n".join(
        ", ".join(format_length(to_nm(float(v)), unit, places) for v in point)
        for point in drawn.curve.points
    )
