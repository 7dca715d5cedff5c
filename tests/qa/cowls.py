"""Two cowl halves against each other and the fuselage, for the tests of several parts.

One frame for all seams: x forward, y up, z to the left. The firewall is at x = 0, the
split at y = 0.
"""

from dataclasses import dataclass

from qa.actions.joints import StationDraft
from qa.models import Check, Joint
from shop.models import Airframe, Part
from tests.qa.hung import turned
from tests.qa.making import (
    make_airframe,
    make_check,
    make_fit_up,
    make_joint,
    make_part,
    make_position,
    make_type,
    mm,
    read,
)

LIMITS = {"gap": (1.0, 2.5), "flush": (-0.5, 0.5)}
MIDDLE = 1.75


def _station(label, place, gap, face, **more) -> StationDraft:
    return StationDraft(
        label=str(label),
        place_nm=tuple(mm(v) for v in place),
        gap_e9=tuple(round(v * 1e9) for v in gap),
        face_e9=tuple(round(v * 1e9) for v in face),
        gap_min_nm=mm(LIMITS["gap"][0]),
        gap_max_nm=mm(LIMITS["gap"][1]),
        flush_min_nm=mm(LIMITS["flush"][0]),
        flush_max_nm=mm(LIMITS["flush"][1]),
        trim_max_nm=mm(3),
        **more,
    )


def rear(up: int) -> list[StationDraft]:
    """The rear edge of one half, up or down, three stations a side: walked so that the
    fuselage is on the right."""
    spots = [(60, -up), (180, -up), (300, -up), (300, up), (180, up), (60, up)]
    return [
        _station(n, (0, up * y, side * 400), (-1, 0, 0), (0, 0, side))
        for n, (y, side) in enumerate(spots, 1)
    ]


def split(side: int) -> list[StationDraft]:
    """The seam between the halves, on one side: down is from upper to lower."""
    return [
        _station(n, (300 + side * 100 * (n - 3), 0, side * 400), (0, -1, 0),
                 (0, 0, side))
        for n in range(1, 6)
    ]  # fmt: skip


@dataclass
class Cowls:
    """Two halves on an airframe, their joints and open checks, by name."""

    airframe: Airframe
    upper: Part
    lower: Part
    joints: dict[str, Joint]
    checks: dict[str, Check]

    @property
    def positions(self) -> tuple[int, int]:
        """Of the upper half and of the lower."""
        return tuple(self.joints[n].position_id for n in ("upper", "lower"))


SEAMS = {"lower": rear(-1), "upper": rear(1), "left": split(1), "right": split(-1)}


def make_cowls(
    by, *, fuselage: Part | None = None, seams=SEAMS, guarded=(), **said
) -> Cowls:
    """Both halves placed and checks begun, nothing read; guarded: seams judged so."""
    kind = make_type(by)
    airframe = make_airframe(by, type=kind)
    at = {name: make_position(by, type=kind) for name in ("fus", "upper", "lower")}
    parts = {name: make_part(by) for name in ("upper", "lower")}
    joints, checks = {}, {}
    for name, drafts in seams.items():
        part = "lower" if name == "lower" else "upper"
        around = "fus" if name in ("upper", "lower") else "lower"
        rule = "guarded" if name in guarded else "simple"
        joints[name] = make_joint(
            by, drafts, position=at[part], surround=at[around], closed=False,
            name=f"{name} seam", **{"rule": rule, **said},
        )  # fmt: skip
        fit_up = make_fit_up(
            by,
            joints[name],
            airframe=airframe,
            part=parts[part],
            surround_part=parts["lower"] if around == "lower" else fuselage,
        )
        checks[name] = make_check(by, fit_up)
    return Cowls(airframe, parts["upper"], parts["lower"], joints, checks)


STILL = ((0, 0, 0), (0, 0, 0))


def read_cowls(cowls: Cowls, upper=STILL, lower=STILL, *, but=(), **more) -> None:
    """Read what two halves read that sit off by (angles about the frame, shift) each;
    more: what a station reads more, left3=-0.9; but: seams that are not read."""
    for name, check in cowls.checks.items():
        if name in but:
            continue
        part, around = (lower, STILL) if name == "lower" else (upper, STILL)
        around = lower if name in ("left", "right") else around
        for one in check.fit_up.revision.stations.all():
            place = (one.x_nm / 1e6, one.y_nm / 1e6, one.z_nm / 1e6)
            gap = tuple(getattr(one, f"gap_{axis}_e9") / 1e9 for axis in "xyz")
            face = tuple(getattr(one, f"face_{axis}_e9") / 1e9 for axis in "xyz")
            a, b = (turned(place, (0, 0, 0), *moved) for moved in (part, around))
            apart = [p - q for p, q in zip(a, b, strict=True)]
            closes = sum(m * n for m, n in zip(apart, gap, strict=True))
            rises = sum(m * n for m, n in zip(apart, face, strict=True))
            off = more.get(f"{name}{one.label}", 0.0)
            read(check, one.label, "gap", f"{MIDDLE - closes + off:.4f}")
            read(check, one.label, "flush", f"{rises:.4f}")
