"""Where stations lie, from the records to arrays."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from qa.models import Station
from shop.numeric.units import E9, to_mm


def places_of(stations: Sequence[Station]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (n, 3) places in mm, gap directions and face directions."""
    at = [[station.x_nm, station.y_nm, station.z_nm] for station in stations]
    gap = [
        [station.gap_x_e9, station.gap_y_e9, station.gap_z_e9] for station in stations
    ]
    face = [
        [station.face_x_e9, station.face_y_e9, station.face_z_e9]
        for station in stations
    ]
    return to_mm(np.array(at)), np.array(gap) / E9, np.array(face) / E9


def along_seam(stations: Sequence[Station], closed: bool) -> tuple[list[float], float]:
    """Return each station's position along the seam in mm, and the seam's length."""
    at, _, _ = places_of(stations)
    s = [0.0]
    for a, b in pairwise(at):
        s.append(s[-1] + float(np.linalg.norm(b - a)))
    around = float(np.linalg.norm(at[0] - at[-1])) if closed else 0.0
    return s, s[-1] + around


def point_mm(point: dict) -> tuple[float, float]:
    """Place of an attach point, kept in nm or in mm."""
    if "x_nm" in point:
        return to_mm(point["x_nm"]), to_mm(point["y_nm"])
    return float(point["x_mm"]), float(point["y_mm"])
