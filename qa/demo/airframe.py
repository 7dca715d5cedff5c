"""The glider of the demo: type, two airframes, positions, designs and serials."""

from dataclasses import dataclass, field

from shop import demo as floor
from shop.actions import airframes, parts
from shop.models import Airframe, AirframeType, Origin, Part, PartDesign, Position

POSITIONS = (
    ("FUS", "", "Fuselage"),
    ("DOOR-L", "FUS", "Door left"),
    ("DOOR-R", "FUS", "Door right"),
    ("WS", "FUS", "Windshield"),
    ("COWL-U", "FUS", "Cowl upper"),
    ("COWL-L", "FUS", "Cowl lower"),
    ("HATCH-B", "FUS", "Baggage hatch"),
    ("CAP", "FUS", "Filler cap"),
    ("WING-L", "", "Wing left"),
    ("WING-R", "", "Wing right"),
    ("FAIR-L", "WING-L", "Root fairing left"),
    ("FAIR-R", "WING-R", "Root fairing right"),
)
DESIGNS = (
    ("MG-1100", "Fuselage shell", "none", "primary", "FUS"),
    ("MG-1210", "Door left", "left", "secondary", "DOOR-L"),
    ("MG-1220", "Door right", "right", "secondary", "DOOR-R"),
    ("MG-1300", "Windshield", "none", "secondary", "WS"),
    ("MG-1410", "Cowl upper", "none", "secondary", "COWL-U"),
    ("MG-1420", "Cowl lower", "none", "secondary", "COWL-L"),
    ("MG-1510", "Baggage hatch", "none", "non_structural", "HATCH-B"),
    ("MG-1520", "Filler cap", "none", "non_structural", "CAP"),
    ("MG-2100", "Wing left", "left", "primary", "WING-L"),
    ("MG-2200", "Wing right", "right", "primary", "WING-R"),
)
BOUGHT = ("MG-1300",)  # blown from acrylic elsewhere
MIRRORS = (("MG-1220", "MG-1210"), ("MG-2200", "MG-2100"))


@dataclass
class Glider:
    """What was made, by its code."""

    type: AirframeType
    airframes: dict[str, Airframe] = field(default_factory=dict)
    positions: dict[str, Position] = field(default_factory=dict)
    designs: dict[str, PartDesign] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)


def load(crew) -> Glider:
    emil, lena, bea = crew["emil"], crew["lena"], crew["bea"]
    kind = airframes.define_type(
        by=emil, code="MG-2", name="Two-seat motor glider, prototype series"
    )
    glider = Glider(kind)
    for line, name in ((1, "first prototype"), (2, "second prototype")):
        serial = f"MG2-{line:03d}"
        glider.airframes[serial] = airframes.add_airframe(
            by=lena, type=kind, serial=serial, line_number=line, name=name
        )
    for code, parent, name in POSITIONS:
        glider.positions[code] = airframes.add_position(
            by=emil,
            type=kind,
            code=code,
            name=name,
            parent=glider.positions.get(parent),
            hand=name.split()[-1] if name.endswith((" left", " right")) else "none",
        )
    _designs(glider, emil)
    pulled = floor.load_floor(crew, glider.designs)
    floor.load_arms(crew, glider.positions)
    for line, airframe in enumerate(glider.airframes.values(), 1):
        _place(glider, airframe, line, bea, pulled)
    floor.load_doubts(crew)
    _leave_empty(glider, emil)
    return glider


def _leave_empty(glider: Glider, emil) -> None:
    """One root stays bare for comparison; a cap was not wanted, and then was."""
    statements = (
        ("MG2-001", "FAIR-R", True, "Bare for the tuft runs, against the left root"),
        ("MG2-002", "CAP", True, "Filled through the hatch until the tank is in"),
        ("MG2-002", "CAP", False, "The tank is in: it gets its cap"),
    )
    for serial, position, stays, reason in statements:
        airframes.leave_empty(
            by=emil,
            airframe=glider.airframes[serial],
            position=glider.positions[position],
            stays=stays,
            reason=reason,
        )


def _designs(glider: Glider, emil) -> None:
    mirrors = dict(MIRRORS)
    for number, name, hand, structural, _position in DESIGNS:
        glider.designs[number] = parts.define_design(
            by=emil,
            number=number,
            name=name,
            hand=hand,
            structural_class=structural,
            mirror=glider.designs.get(mirrors.get(number)),
        )


def _place(glider: Glider, airframe: Airframe, line: int, bea, pulled) -> None:
    """One serial of each design; the second airframe is not complete yet.

    pulled: parts that came out of a mold, by serial; others are bought or made here.
    """
    for number, _name, _hand, _structural, position in DESIGNS:
        if line == 2 and position not in ("FUS", "DOOR-L", "WS"):
            continue
        serial = f"{number}-{line:03d}"
        part = pulled.get(serial) or parts.register_part(
            by=bea,
            design=glider.designs[number],
            serial=serial,
            origin=Origin.BOUGHT if number in BOUGHT else Origin.MADE,
        )
        glider.parts[serial] = part
        airframes.place_part(
            by=bea,
            airframe=airframe,
            position=glider.positions[position],
            part=part,
        )
