"""Materials, lots, laminates and cure recipes of the demo. All numbers are invented
but plausible for hand lay-up with a room-temperature resin."""

from dataclasses import dataclass

from shop.actions import laminates, materials, suspects
from shop.models import CureRecipe, Laminate, Lot, Material
from shop.numeric.units import MIN_PER_DAY, MIN_PER_H, MM2_PER_M2

from .times import day

# code, name, kind, what else is known
MATERIALS = (
    ("GF-200", "Glass twill 200", "fiber", {"density": 2540, "areal_mass": 200}),
    ("GF-80", "Glass plain 80", "fiber", {"density": 2540, "areal_mass": 80}),
    ("CF-200", "Carbon twill 200", "fiber", {"density": 1780, "areal_mass": 200}),
    ("CORE-5", "Foam core 5 mm", "core", {"density": 60, "thickness_nm": 5_000_000}),
    ("RES", "Epoxy resin", "resin", {"density": 1150, "ratio": 300, "pot_minutes": 45}),
    ("HARD", "Slow hardener", "hardener", {"density": 950}),
    ("WAX", "Paste wax", "release", {}),
    ("FILL", "Surfacing primer", "filler", {}),
    (
        "PP-160",
        "Carbon prepreg 160, one direction",
        "prepreg",
        {"density": 1780, "areal_mass": 160, "out_time_limit": 240},
    ),
)
# The core of the hatch, in which somebody will find a fault.
DOUBTFUL = "C-118"
# material, lot, received so many days ago, expires in so many days, where
LOTS = (
    ("GF-200", "2611", 210, 1500, "rack 2"),
    ("GF-80", "2604", 210, 1500, "rack 2"),
    ("CF-200", "7731", 160, 1100, "rack 2"),
    ("CORE-5", "C-122", 150, 1900, "rack 4"),
    ("CORE-5", DOUBTFUL, 130, 1800, "rack 4"),
    ("RES", "R-5510", 120, 9, "cabinet, 21 °C"),
    ("HARD", "H-5511", 120, 240, "cabinet, 21 °C"),
    ("WAX", "W-88", 300, 700, "mold bench"),
    ("FILL", "F-17", 200, 60, "spray booth"),
    ("PP-160", "P-3001", 90, 120, "freezer"),
)
# Who sold what, with a certificate to each lot; of the others there are no papers.
SUPPLIERS = {
    "GF-200": "Cloth merchant",
    "GF-80": "Cloth merchant",
    "CF-200": "Cloth merchant",
    "CORE-5": "Core merchant",
    "RES": "Resin merchant",
    "HARD": "Resin merchant",
}
# code, name, design, plies: (area, m2, material, degrees)
SKIN = ("skin", "0.62")
LAMINATES = (
    (
        "L-DOOR-L",
        "Door left",
        "MG-1210",
        (
            (*SKIN, "GF-80", 45),
            (*SKIN, "CF-200", 0),
            (*SKIN, "CF-200", 45),
            ("core", "0.48", "CORE-5", 0),
            (*SKIN, "CF-200", 0),
        ),
    ),
    (
        "L-DOOR-R",
        "Door right",
        "MG-1220",
        (
            (*SKIN, "GF-80", 45),
            (*SKIN, "CF-200", 0),
            (*SKIN, "CF-200", 45),
            ("core", "0.48", "CORE-5", 0),
            (*SKIN, "CF-200", 0),
        ),
    ),
    (
        "L-COWL-U",
        "Cowl upper",
        "MG-1410",
        tuple(("cowl", "0.85", "GF-200", angle) for angle in (45, 0, 0, 45)),
    ),
    (
        "L-COWL-L",
        "Cowl lower",
        "MG-1420",
        tuple(("cowl", "0.92", "GF-200", angle) for angle in (45, 0, 0, 45)),
    ),
    (
        "L-HATCH",
        "Baggage hatch",
        "MG-1510",
        (
            ("hatch", "0.21", "GF-200", 0),
            ("hatch core", "0.17", "CORE-5", 0),
            ("hatch", "0.21", "GF-200", 45),
        ),
    ),
)


@dataclass
class Shelf:
    """What is in stock, by code; lots by the code of their material, the first one."""

    materials: dict[str, Material]
    lots: dict[str, Lot]
    doubtful: Lot
    laminates: dict[str, Laminate]
    recipe: CureRecipe


def load(people, designs) -> Shelf:
    emil, bea = people["emil"], people["bea"]
    known = {
        code: materials.define_material(
            by=emil, code=code, name=name, kind=kind, **more
        )
        for code, name, kind, more in MATERIALS
    }
    lots, doubtful = _receive(bea, known)
    recipe = laminates.define_recipe(
        by=emil,
        name="Room, then 4 h at 60 °C",
        ramp_most=1000,
        dwell_low=55_000,
        dwell_high=65_000,
        dwell_minutes=240,
        peak_most=70_000,
        minutes_to_release=MIN_PER_DAY,
    )
    shelf = Shelf(known, lots, doubtful, {}, recipe)
    for code, name, number, plies in LAMINATES:
        shelf.laminates[number] = laminates.define_laminate(
            by=emil,
            code=code,
            name=name,
            design=designs[number],
            resin=known["RES"],
            recipe=recipe,
            fiber_fraction_ppm=420_000,
            loss_ppm=150_000,
            core_uptake=150,
            plies=[
                (area, round(float(m2) * MM2_PER_M2), known[material], angle)
                for area, m2, material, angle in plies
            ],
        )
    return shelf


def _receive(bea, known) -> tuple[dict[str, Lot], Lot]:
    """Return the first lot of each material, and the one that will be doubted."""
    lots: dict[str, Lot] = {}
    for code, number, received, expires, place in LOTS:
        lot = materials.receive_lot(
            by=bea,
            material=known[code],
            number=number,
            received_on=day(received),
            expires_on=day(-expires),
            place=place,
            supplier=SUPPLIERS.get(code, ""),
            certificate=f"CoC {number}" if code in SUPPLIERS else "",
        )
        if number == DOUBTFUL:
            doubtful = lot
        lots.setdefault(code, lot)
    for hours in (30, 46):
        materials.act_on_lot(
            by=bea,
            lot=lots["PP-160"],
            kind="out",
            minutes=MIN_PER_H * hours,
            temperature=22_000,
            note="cut for the spar caps",
        )
    # Its papers came after it.
    papers = {"supplier": "Prepreg merchant", "certificate": "CoC P-3001"}
    materials.file_papers(by=bea, lot=lots["PP-160"], **papers)
    return lots, doubtful


def doubt(people) -> None:
    lot = Lot.objects.get(number=DOUBTFUL)
    suspects.put_on_hold(
        by=people["lena"],
        kind="lot",
        key=lot.pk,
        reason="a sheet of this lot is 4.4 mm thick, not 5",
    )
