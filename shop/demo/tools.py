"""Machines, plugs, molds and jigs of the demo, with their steps and their release."""

from datetime import timedelta

from shop.actions import machines, release, routes, tooling
from shop.models import Tool

from .stock import Shelf
from .times import ago, day, mm

# name, kind, minutes to the next coat, to the lay-up, coats on new, again after pulls
PRODUCTS = (
    ("Paste wax", "wax", 60, 720, 4, 3),
    ("Release film", "film", 20, 60, 1, 1),
    ("Semi-permanent release", "semi", 15, 240, 5, 6),
)
# plug, name, hand, milled so many days ago
PLUGS = (
    ("PLUG-DOOR-L", "Door plug left", "left", 100),
    ("PLUG-DOOR-R", "Door plug right", "right", 88),
    ("PLUG-COWL", "Cowl plug", "none", 125),
)
# mold, name, hand, plug, design, begun so many days ago, cost in cents
MOLDS = (
    ("M-DOOR-L", "Door mold left", "left", "PLUG-DOOR-L", "MG-1210", 67, 148_000),
    ("M-DOOR-R", "Door mold right", "right", "PLUG-DOOR-R", "MG-1220", 58, 151_000),
    ("M-COWL-U", "Cowl mold upper", "none", "PLUG-COWL", "MG-1410", 80, 122_000),
    ("M-COWL-L", "Cowl mold lower", "none", "PLUG-COWL", "MG-1420", 78, 127_000),
    ("M-HATCH", "Baggage hatch mold", "none", None, "MG-1510", 72, 31_000),
)
BEFORE_MILLING = 3  # steps, a day each
MIRRORS = {"PLUG-DOOR-R": "PLUG-DOOR-L", "M-DOOR-R": "M-DOOR-L"}


def load(people, designs, shelf: Shelf) -> dict[str, Tool]:
    """Return the tools by code."""
    lena, bea = people["lena"], people["bea"]
    routes.write_usual_routes(by=lena)
    products = {
        name: release.define_product(
            by=lena,
            name=name,
            kind=kind,
            minutes_between=between,
            minutes_before_layup=layup,
            coats_new=new,
            rewax_every=again,
            source="the shop's own habit; read the product's sheet",
        )
        for name, kind, between, layup, new, again in PRODUCTS
    }
    tools = {}
    for code, name, hand, milled in PLUGS:
        tools[code] = tooling.add_tool(
            by=lena,
            kind="plug",
            code=code,
            name=name,
            hand=hand,
            mirror=tools.get(MIRRORS.get(code)),
            surface_revision="B",
            place="plug bay",
            made_at=ago(milled + 20),
        )
        _all_steps(people, tools[code], shelf, milled + BEFORE_MILLING)
    _mill(people, tools)
    for code, name, hand, plug, design, made, cost in MOLDS:
        tools[code] = tooling.add_tool(
            by=lena,
            kind="mold",
            code=code,
            name=name,
            hand=hand,
            mirror=tools.get(MIRRORS.get(code)),
            plug=tools.get(plug),
            design=designs[design],
            place="mold rack",
            service_interval=10,
            expected_life=40,
            cost=cost,
            made_at=ago(made),
        )
        _all_steps(people, tools[code], shelf, made - 1)
        _wax(tools[code], products["Paste wax"], shelf, bea, ago(made - 9))
    _others(people, tools, shelf)
    for tool in tools.values():
        tool.refresh_from_db()
    return tools


def _all_steps(people, tool: Tool, shelf: Shelf, days: float) -> None:
    """Do the whole route, a step a day: what was laid up or primed has to cure."""
    for place, step in enumerate(tool.steps.all()):
        who = people["ines" if step.role else ("bea", "tomas")[place % 2]]
        primes = step.name in ("prime", "fill", "guide coat")
        routes.do_step(
            by=who,
            step=step,
            done_at=ago(days - place),
            lot=shelf.lots["FILL"] if primes else None,
            minutes=None if step.name == "cure" else 90 + 45 * (place % 4),
            temperature=21_000 + 500 * (place % 4),
            humidity=4600,
        )


def _mill(people, tools) -> None:
    """The left door plug was cut while an axis had too much play."""
    gantry = machines.define_machine(
        by=people["lena"],
        name="Gantry mill",
        note="home made, 3 axes",
        play_limit=mm("0.08"),
    )
    for axis, days, play in (
        ("x", 140, "0.04"),
        ("y", 140, "0.06"),
        ("y", 104, "0.16"),
        ("y", 92, "0.03"),
    ):
        machines.measure_play(
            by=people["tomas"],
            machine=gantry,
            axis=axis,
            play=mm(play),
            measured_on=day(days),
            note="dial gauge on the spindle, both ways",
        )
    for code, _name, _hand, milled in PLUGS:
        machines.record_milling(
            by=people["tomas"],
            tool=tools[code],
            machine=gantry,
            milled_on=day(milled),
            radius=mm("6"),
            stepover=mm("1.2"),
            stock=mm("0.4"),
            sanding=mm("0.08"),
            passes=2,
        )


def _wax(tool: Tool, product, shelf: Shelf, by, first) -> None:
    for coat in range(4):
        release.apply_coat(
            by=by,
            tool=tool,
            product=product,
            lot=shelf.lots["WAX"],
            applied_at=first + timedelta(hours=2 * coat),
        )


def _others(people, tools, shelf: Shelf) -> None:
    """A plug under way, a jig, and something borrowed."""
    lena = people["lena"]
    fairing = tooling.add_tool(
        by=lena,
        kind="plug",
        code="PLUG-FAIR-L",
        name="Root fairing plug left",
        hand="left",
        place="plug bay",
        made_at=ago(16),
    )
    for place, step in enumerate(fairing.steps.all()[:6]):
        routes.do_step(
            by=people["tomas"],
            step=step,
            done_at=ago(15 - 2 * place),
            lot=shelf.lots["FILL"] if step.name == "prime" else None,
        )
    jig = tooling.add_tool(
        by=lena,
        kind="trim_jig",
        code="JIG-DOOR",
        name="Door trim jig",
        place="trim bench",
        calibration_due=day(-6),
    )
    loan = tooling.add_tool(
        by=lena,
        kind="loan",
        code="LOAN-LIFT",
        name="Engine hoist",
        owner="the flying club next door",
        on_loan_since=day(20),
        due_back=day(-4),
        place="hangar",
    )
    tools |= {tool.code: tool for tool in (fairing, jig, loan)}
