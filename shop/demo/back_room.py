"""The back room of the demo's floor: what was retired, lent, used up, taken back, given
up or decided, so that every state of a tool, lot, pull and part is there to be seen.

A cowl whose cure nobody saw and one that was cured too short are held until the lead
decided; the drill jig is found bent; the old hatch template is retired.
"""

from datetime import timedelta

from shop.actions import (
    cures,
    identity,
    machines,
    materials,
    parts,
    people,
    pulls,
    release,
    routes,
    suspects,
    tooling,
    weights,
    withdrawals,
)
from shop.files.cure_trace import parse
from shop.models import Machine, Origin, Pull, Tool

from .times import ago, day, grams, mm

NAME = "Two-seat glider workshop"
STEPS = {
    "trim_jig": (("set on the mold", "builder"), ("check against the template", "")),
    "drill_jig": (("bush the holes", "builder"), ("measure the bushes", "engineer")),
    "assembly_jig": (("level", "lead"), ("check the datum", "engineer")),
    "template": (("cut", ""), ("compare with the drawing", "inspector")),
    "loan": (("note its condition", "lead"),),
}


def load(crew, designs) -> None:
    _shop(crew)
    _stock(crew)
    _tools(crew)
    _pulls(crew, designs)
    _parts(crew, designs)


def _shop(crew) -> None:
    known = {"by": crew["lena"], "time_zone": "UTC"}
    identity.set_identity(name="Workshop, hall 2", units="in", paper="letter", **known)
    identity.set_identity(name=NAME, units="mm", paper="a4", **known)
    people.set_units(crew["vic"], units="in")


def _stock(crew) -> None:
    emil, bea = crew["emil"], crew["bea"]
    rows = (
        ("ADH", "Structural adhesive", "adhesive"),
        ("TAPE", "Vacuum tape", "other"),
    )
    made = [
        materials.define_material(by=emil, code=code, name=name, kind=kind)
        for code, name, kind in rows
    ]
    used, new = (
        materials.receive_lot(
            by=bea,
            material=made[0],
            number=number,
            received_on=day(days),
            expires_on=day(-200),
            place="cabinet, 21 °C",
        )
        for number, days in (("A-301", 190), ("A-322", 30))
    )
    acts = (
        (used, "opened", ""),
        (used, "used_up", ""),
        (new, "moved", "bonding bench"),
    )
    for lot, kind, note in acts:
        materials.act_on_lot(by=bea, lot=lot, kind=kind, note=note)
    release.define_product(
        by=crew["lena"],
        name="Mold sealer",
        kind="sealer",
        minutes_between=45,
        minutes_before_layup=1440,
        coats_new=2,
        rewax_every=None,
        source="the shop's own habit; read the product's sheet",
    )


def _tools(crew) -> None:
    lena, bea, tomas = crew["lena"], crew["bea"], crew["tomas"]
    for kind, steps in STEPS.items():
        routes.set_route(by=lena, kind=kind, steps=list(steps))
    machines.measure_play(
        by=tomas,
        machine=Machine.objects.get(name="Gantry mill"),
        axis="z",
        play=mm("0.05"),
        measured_on=day(40),
        note="dial gauge on the spindle",
    )
    drill, jig, old, sander = (
        tooling.add_tool(by=lena, kind=kind, code=code, name=name, **more)
        for kind, code, name, more in (
            ("drill_jig", "JIG-HINGE", "Hinge drill jig", {"place": "drill bench"}),
            ("assembly_jig", "JIG-WING", "Wing bonding jig", {"place": "hall"}),
            ("template", "TPL-HATCH", "Hatch template, cut 1", {"place": "wall"}),
            ("loan", "LOAN-SANDER", "Belt sander", {"owner": "the boat yard"}),
        )
    )
    acts = (
        (jig, "moved", "hall, north side", None),
        (jig, "condition", "one clamp is stiff", None),
        (jig, "calibrated", "level and datum", day(-300)),
        (old, "retired", "the hatch has new corners", None),
        (sander, "returned", "", None),
        (Tool.objects.get(code="LOAN-LIFT"), "lent", "for the engine", day(-9)),
        (Tool.objects.get(code="M-DOOR-R"), "serviced", "flange trued", None),
        (Tool.objects.get(code="PLUG-COWL"), "revised", "C", None),
    )
    for tool, kind, note, until in acts:
        tooling.act_on_tool(by=lena, tool=tool, kind=kind, note=note, until=until)
    suspects.put_on_hold(
        by=lena, kind="tool", key=drill.pk, reason="a bush is bent", spreads=False
    )
    mold = Tool.objects.get(code="M-COWL-U")
    coat = mold.release_coats.order_by("-applied_at", "-pk").first()
    withdrawals.take_back_coat(by=bea, coat=coat, reason="typed for the wrong mold")
    fairing = Tool.objects.get(code="PLUG-FAIR-L")
    step = fairing.steps_done.order_by("-pk").first()
    withdrawals.take_back_step(by=tomas, step=step, reason="only half of it was done")


def _pulls(crew, designs) -> None:
    """One cured too short, one seen by no sensor, one given up, one just begun."""
    upper = _pull(crew, "M-COWL-U", designs["MG-1410"], ago(30), short=True)
    _out(crew, upper, "forced", "left rear corner", ago(28), "demolded as it came")
    first, coupon = (
        pulls.yield_part(by=crew["bea"], pull=upper, design=design, serial=serial)
        for design, serial in (
            (designs["MG-1410"], "MG-1410-002"),
            (designs["MG-1420"], "MG-1420-002"),
        )
    )
    hold = suspects.put_on_hold(
        by=crew["lena"], kind="pull", key=upper.pk, reason="cured 100 minutes too short"
    )
    decided = ((first, "good", "cured again in the oven"), (coupon, "scrap", "soft"))
    for part, decision, reason in decided:
        suspect = part.suspicions.get(decided_entry=None)
        suspects.decide(
            by=crew["lena"], suspect=suspect, decision=decision, reason=reason
        )
    suspects.lift_hold(by=crew["lena"], hold=hold, reason="cured again, hard")
    stages = (("untrimmed", "1420 g"), ("primed", "1260 g"), ("finished", "1310 g"))
    for place, (stage, mass) in enumerate(stages):
        weights.weigh_part(
            by=crew["bea"],
            part=first,
            stage=stage,
            mass=grams(mass),
            weighed_on=day(27 - 2 * place),
            scale="bench scale 2",
        )
    lower = _pull(crew, "M-COWL-L", designs["MG-1420"], ago(26), silent=True)
    _out(crew, lower, "damaged", "gel coat of the rear edge", ago(24), "nobody saw it")
    tooling.act_on_tool(
        by=crew["lena"],
        tool=lower.tool,
        kind="stripped",
        note="for the repair of its rear edge",
    )
    given_up = _begin(crew, "M-HATCH", designs["MG-1510"], ago(9))
    pulls.void_pull(
        by=crew["bea"], pull=given_up, reason="the bag burst while the resin was wet"
    )
    _begin(crew, "M-DOOR-R", designs["MG-1220"], ago(hours=2))


def _begin(crew, mold: str, design, started) -> Pull:
    return pulls.start_pull(
        by=crew["bea"],
        tool=Tool.objects.get(code=mold),
        laminate=design.laminates.get(),
        started_at=started,
        temperature=22_000,
        reason="waxed again this morning, not yet on record",
    )


def _pull(crew, mold, design, started, *, short=False, silent=False) -> Pull:
    pull = _begin(crew, mold, design, started)
    pulls.close_layup(
        by=crew["bea"],
        pull=pull,
        closed_at=started + timedelta(hours=3),
        reason="plies and resin are on the paper of that day",
    )
    content = _trace(120 if short else 400, silent)
    cures.record_trace(
        by=crew["tomas"],
        pull=pull,
        file_name=f"oven-{mold}-{pull.number}.csv",
        content=content,
        trace=parse(content),
    )
    pull.refresh_from_db()
    return pull


def _out(crew, pull: Pull, how: str, where: str, when, reason: str) -> None:
    pulls.demold(
        by=crew["bea"],
        pull=pull,
        release=how,
        where_stuck=where,
        demolded_at=when,
        reason=reason,
    )
    pull.refresh_from_db()


def _trace(hot: int, silent: bool) -> bytes:
    """An oven log that cools after so many minutes; a sensor may fall silent."""
    lines = ["minutes,skin_c"]
    for minute in range(0, 561, 5):
        up = min(22 + 0.5 * minute, 60)
        oven = up if minute <= hot else max(60 - 0.4 * (minute - hot), 25)
        lost = silent and 150 < minute < 330
        lines.append(f"{minute},{'OL' if lost else f'{oven:.1f}'}")
    return "\n".join(lines).encode()


def _parts(crew, designs) -> None:
    bea = crew["bea"]
    spare = parts.register_part(
        by=bea, design=designs["MG-2100"], serial="MG-2100-101", note="half shell"
    )
    other = parts.register_part(
        by=bea, design=designs["MG-2100"], serial="MG-2100-102", note="half shell"
    )
    wing = parts.register_part(
        by=bea,
        design=designs["MG-2100"],
        serial="MG-2100-103",
        origin=Origin.BONDED,
        sources=(spare, other),
    )
    parts.register_part(
        by=bea,
        design=designs["MG-1520"],
        serial="MG-1520-103",
        origin=Origin.CUT,
        sources=(wing,),
        note="cut out for the filler",
    )
    gone = parts.register_part(by=bea, design=designs["MG-1520"], serial="MG-1520-104")
    parts.scrap_part(by=crew["lena"], part=gone, reason="drilled through its rim")
