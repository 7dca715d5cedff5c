"""A joint in space, seen square on from outside."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class View:
    """Unit vectors of the picture: right, up, and out towards the eye; its origin."""

    origin: np.ndarray
    right: np.ndarray
    up: np.ndarray
    out: np.ndarray

    def points(self, places: np.ndarray) -> np.ndarray:
        """(n, 3) places to (n, 2) picture coordinates, same unit."""
        return self.directions(np.asarray(places, float) - self.origin)

    def directions(self, vectors: np.ndarray) -> np.ndarray:
        """(n, 3) vectors to (n, 2), not renormalised: what is left shows the tilt."""
        vectors = np.asarray(vectors, float)
        return np.column_stack([vectors @ self.right, vectors @ self.up])


FLAT = View(np.zeros(3), np.eye(3)[0], np.eye(3)[1], np.eye(3)[2])


def view_from_outside(places: np.ndarray, faces: np.ndarray) -> View:
    """The best view of stations (n, 3) with face directions (n, 3) out of the skin.

    The plane is the least-squares one; stations in one line take the mean face instead.
    Out is the side that the faces show. Up is y, or z where the plane looks along y.
    A joint in the plane z = constant with faces up keeps its x and y exactly.
    """
    places, faces = np.asarray(places, float), np.asarray(faces, float)
    face = faces.mean(axis=0)
    centered = places - places.mean(axis=0)
    size = float(np.abs(centered).max(initial=0.0)) or 1.0
    if np.ptp(places[:, 2]) <= 1e-9 * size and face[2] > 0.999:
        return FLAT
    _, spread, axes = np.linalg.svd(centered, full_matrices=False)
    if spread[1] <= 0.02 * spread[0]:  # nearly a line: it has no plane of its own
        out = face - axes[0] * (face @ axes[0])
    else:
        out = axes[2]
    length = np.linalg.norm(out)
    out = np.array([0.0, 0.0, 1.0]) if length < 1e-9 else out / length
    lean = float(out @ face)
    if abs(lean) < 1e-6:  # a ring whose faces cancel: look down the largest axis
        lean = float(out[np.argmax(np.abs(out))])
    out = -out if lean < 0 else out
    # 45 degrees: whichever of y and z is seen longer is up.
    hint = np.array([0.0, 1.0, 0.0]) if abs(out[1]) < 0.7072 else np.eye(3)[2]
    up = hint - out * (hint @ out)
    up /= np.linalg.norm(up)
    return View(places.mean(axis=0), np.cross(up, out), up, out)
