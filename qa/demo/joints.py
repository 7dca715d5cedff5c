"""The seams of the demo: two doors, a hatch, the cowl, a windshield, a filler cap."""

import math
from dataclasses import replace

from qa.actions.instruments import save_instrument
from qa.actions.joints import RequirementDraft, StationDraft, define_joint
from qa.models import Joint
from qa.numeric.geometry import layout
from shop.actions import airframes, parts
from shop.demo.times import day
from shop.models import Hand
from shop.numeric.units import E9
from shop.numeric.units import NM_PER_MM as MM

SOURCE = "Shop drawing MG-0001, general fits"


def stations(
    places,
    normals,
    *,
    gap=(1.0, 2.5),
    flush=(-0.5, 0.5),
    faces=None,
    edge=lambda x, y, nx, ny: "",
    **extra,
) -> list[StationDraft]:
    """Stations 1, 2, 3 … at places (mm) with unit normals and one pair of limits."""
    made = []
    for row, (place, normal) in enumerate(zip(places, normals, strict=True)):
        x, y, z = (*map(float, place), 0.0)[:3]
        nx, ny, nz = (*map(float, normal), 0.0)[:3]
        face = (0.0, 0.0, 1.0) if faces is None else faces[row]
        made.append(
            StationDraft(
                label=str(row + 1),
                place_nm=(round(x * MM), round(y * MM), round(z * MM)),
                gap_e9=(round(nx * E9), round(ny * E9), round(nz * E9)),
                face_e9=tuple(round(float(value) * E9) for value in face),
                gap_min_nm=round(gap[0] * MM),
                gap_max_nm=round(gap[1] * MM),
                flush_min_nm=round(flush[0] * MM),
                flush_max_nm=round(flush[1] * MM),
                typed={
                    "gap_min": [f"{gap[0]}", "mm"],
                    "gap_max": [f"{gap[1]}", "mm"],
                    "flush_min": [f"{flush[0]}", "mm"],
                    "flush_max": [f"{flush[1]}", "mm"],
                },
                edge=edge(x, y, nx, ny),
                **extra,
            )
        )
    return made


def in_the_fuselage(by, glider, named, design: str, number: str, drafts):
    """A small cover in a bay of its own: its place, its design, its joint.

    named: (code of the place, what it and the design are called)."""
    code, name = named
    place = airframes.add_position(
        by=by,
        type=glider.type,
        code=code,
        name=name,
        parent=glider.positions["FUS"],
        hand=Hand.NONE,
    )
    made = parts.define_design(
        by=by, number=design, name=name, structural_class="non_structural"
    )
    joint = define_joint(
        by=by,
        position=place,
        surround=glider.positions["FUS"],
        number=number,
        name=f"{name} to fuselage",
        requirement=RequirementDraft(note="First release.", source="MG-0001"),
        stations=drafts,
    )
    return place, made, joint


def in_flow(towards: int):
    """Edges in a flow along +x (the left side, its nose on the left) or -x."""

    def edge(x, y, nx, ny) -> str:
        if abs(nx) < 0.7:
            return "streamwise"
        return "downstream" if nx * towards > 0 else "upstream"

    return edge


def _mirrored(drafts: list[StationDraft]) -> list[StationDraft]:
    """The other hand, with the same label at the mirrored place; its nose is on the
    right, so that an upstream edge stays one."""
    return [
        replace(
            draft,
            place_nm=(-draft.place_nm[0], *draft.place_nm[1:]),
            gap_e9=(-draft.gap_e9[0], *draft.gap_e9[1:]),
        )
        for draft in drafts
    ]


def _cowl(last: float) -> list[StationDraft]:
    """Rear edge of a cowl half: half a ring of radius 430 with its skin around, down to
    an angle of `last` from the left side. All seams of the cowl lie in one frame: x
    forward from the firewall, y up from the split, z to the left."""
    places, faces = [], []
    for k in range(13):
        angle = math.radians(last - k * 160 / 12)
        out = (0.0, math.sin(angle), math.cos(angle))
        places.append((0.0, 430 * out[1], 430 * out[2]))
        faces.append(out)
    return stations(
        places, [(-1.0, 0.0, 0.0)] * 13, faces=faces, gap=(1.5, 3.0), flush=(-0.5, 0.5)
    )


def _split(side: int) -> list[StationDraft]:
    """The seam between the halves on the left (1) or the right (-1), six stations."""
    places = [(320 + side * 80 * (k - 2.5), 0.0, side * 430) for k in range(6)]
    return stations(
        places,
        [(0.0, -1.0, 0.0)] * 6,
        faces=[(0.0, 0.0, side)] * 6,
        gap=(1.0, 2.2),
        flush=(-0.5, 0.5),
        trim_max_nm=3 * MM,
    )


def load(crew, glider) -> dict[str, Joint]:
    """Return the joints by number, with their instruments in place."""
    _instruments(crew["lena"])
    emil, at = crew["emil"], glider.positions
    door = layout.rounded_rectangle(820, 940, 150, 24)
    left = stations(
        door.places,
        door.gap_directions,
        edge=in_flow(1),
        trim_max_nm=3 * MM,
        radius_nm=900 * MM,
    )
    hatch = layout.rounded_rectangle_by_side(420, 300, 40, (3, 2, 3, 2), per_corner=1)
    cap = layout.ellipse(120, 120, 8)
    glass = [(-500 + 100 * k, 0.00016 * (-500 + 100 * k) ** 2) for k in range(11)]
    made = {}

    def joint(number, name, position, surround, drafts, mirror=None, **requirement):
        made[number] = define_joint(
            by=emil,
            position=at[position],
            surround=at[surround],
            number=number,
            name=name,
            requirement=RequirementDraft(
                note="First release for the prototype.", source=SOURCE, **requirement
            ),
            stations=drafts,
            mirror=mirror,
        )

    door_says = {
        "flow_mdeg": 0,
        "acceptance_condition": "hinged and latched, seal not fitted",
        "acceptance_finish": "finished",
        "finish_part_nm": round(0.12 * MM),
        "finish_surround_nm": round(0.12 * MM),
        "rule": "guarded",
    }
    door_says["attach_points"] = _attach_points(1)
    joint("J-101", "Door left to fuselage", "DOOR-L", "FUS", left, **door_says)
    joint(
        "J-102",
        "Door right to fuselage",
        "DOOR-R",
        "FUS",
        _mirrored(left),
        mirror=made["J-101"],
        **{**door_says, "flow_mdeg": 180_000, "attach_points": _attach_points(-1)},
    )
    joint(
        "J-110",
        "Baggage hatch to fuselage",
        "HATCH-B",
        "FUS",
        stations(
            hatch.places,
            hatch.gap_directions,
            gap=(0.8, 1.8),
            flush=(-0.75, 0.75),
            edge=in_flow(-1),  # on the right side
            trim_max_nm=2 * MM,
        ),
        flow_mdeg=180_000,
    )
    joint(
        "J-120",
        "Windshield lower edge",
        "WS",
        "FUS",
        stations(
            glass,
            [_normal(x) for x, _y in glass],
            gap=(2.0, 4.0),
            flush=(-0.5, 0.3),
            trim_side="surround",
            trim_max_surround_nm=2 * MM,
        ),
        closed=False,
        marks_on="part",
        part_expansion_e9=70_000,
        surround_expansion_e9=3_000,
        expanding_length_nm=1000 * MM,
    )
    joint(
        "J-130",
        "Cowl upper, rear edge",
        "COWL-U",
        "FUS",
        _cowl(170),
        closed=False,
        flow_mdeg=180_000,
    )
    for number, name, side in (("J-131", "left", 1), ("J-132", "right", -1)):
        joint(
            number,
            f"Cowl halves, {name} seam",
            "COWL-U",
            "COWL-L",
            _split(side),
            closed=False,
            flow_mdeg=180_000,
        )
    joint(
        "J-133",
        "Cowl lower, rear edge",
        "COWL-L",
        "FUS",
        _cowl(350),
        closed=False,
        flow_mdeg=180_000,
    )
    joint(
        "J-140",
        "Filler cap to fuselage",
        "CAP",
        "FUS",
        stations(
            cap.places,
            cap.gap_directions,
            gap=(0.3, 0.8),
            flush=(-0.25, 0.1),
            trim_side="none",
        ),
    )
    return made


def _attach_points(hand: int) -> list[dict]:
    """Two hinges at the front edge of a door, on the left of the left one as seen from
    outside, and its latch; mirrored for hand -1."""
    rows = (("upper hinge", -380, 300), ("lower hinge", -380, -300), ("latch", 380, 0))
    return [
        {"name": name, "x_nm": hand * x * MM, "y_nm": y * MM} for name, x, y in rows
    ]


def _normal(x: float) -> tuple[float, float]:
    """Downwards normal of the curve y = 0.00016 x^2, walked with rising x."""
    slope = 2 * 0.00016 * x
    size = math.hypot(slope, 1.0)
    return slope / size, -1.0 / size


def _instruments(lena) -> None:
    rows = (
        ("SG-1", "Gauge for gap and step", "step gauge", 0.06, 0.01, (-5, 5)),
        ("TG-1", "Taper gauge 0.3 to 6 mm", "taper gauge", 0.08, 0.05, (0.3, 6)),
        ("FL-1", "Feeler leaves 0.05 to 1.00", "feeler leaves", 0.02, 0.05, (0.05, 1)),
    )
    for code, name, kind, u, step, (low, high) in rows:
        feet = (0, 50, 25) if kind == "step gauge" else (None, None, None)
        save_instrument(
            by=lena,
            code=code,
            name=name,
            kind=kind,
            due=day(-140),
            u_nm=round(u * MM),
            resolution_nm=round(step * MM),
            range_low_nm=round(low * MM),
            range_high_nm=round(high * MM),
            **{
                key: None if foot is None else foot * MM
                for key, foot in zip(
                    ("foot_1_nm", "foot_2_nm", "probe_nm"), feet, strict=True
                )
            },
        )
