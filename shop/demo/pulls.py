"""Pulls of the demo: laid up, cured, taken out, weighed."""

from datetime import timedelta

from shop.actions import cures, layups, pulls, tooling, weights
from shop.files.cure_trace import parse
from shop.models import Part, Pull
from shop.rules import mass
from shop.rules.mass import expectation_of

from .stock import Shelf
from .times import ago, day, grams, kpa

# mold, design, started so many days ago, serial, trimmed mass ("~": by hand)
PULLS = (
    ("M-COWL-U", "MG-1410", 68, "MG-1410-001", "1130 g"),
    ("M-COWL-L", "MG-1420", 66, "MG-1420-001", "~1250 g"),
    ("M-HATCH", "MG-1510", 60, "MG-1510-001", "270 g"),
    ("M-DOOR-L", "MG-1210", 55, "MG-1210-001", "1080 g"),
    ("M-DOOR-R", "MG-1220", 46, "MG-1220-001", "1065 g"),
    ("M-DOOR-L", "MG-1210", 24, "MG-1210-002", "1100 g"),
)


def load(people, designs, shelf: Shelf, molds) -> dict[str, Part]:
    """Return the parts by serial."""
    parts = {}
    for mold, number, days, serial, weight in PULLS:
        pull = _lay_up(people, molds[mold], shelf.laminates[number], shelf, ago(days))
        _cure(people, pull)
        pulls.demold(
            by=people["bea"],
            pull=pull,
            release="clean" if serial != "MG-1210-002" else "stuck",
            where_stuck="" if serial != "MG-1210-002" else "lower aft corner",
            demolded_at=ago(days - 2),
        )
        pull.refresh_from_db()
        parts[serial] = pulls.yield_part(
            by=people["bea"], pull=pull, design=designs[number], serial=serial
        )
        _weigh(people, parts[serial], weight, days - 3)
        molds[mold].refresh_from_db()
    _blemish(people, molds["M-DOOR-L"])
    running = _lay_up(
        people, molds["M-DOOR-L"], shelf.laminates["MG-1210"], shelf, ago(hours=20)
    )
    pulls.close_layup(by=people["bea"], pull=running, closed_at=ago(hours=17))
    return parts


def _lay_up(people, mold, laminate, shelf: Shelf, started) -> Pull:
    bea, tomas = people["bea"], people["tomas"]
    pull = pulls.start_pull(
        by=bea,
        tool=mold,
        laminate=laminate,
        started_at=started,
        temperature=21_500,
        humidity=4800,
    )
    plies = list(laminate.plies.select_related("material"))
    lots = {ply.material_id: shelf.lots[ply.material.code] for ply in plies}
    if laminate.code == "L-HATCH":
        lots[shelf.doubtful.material_id] = shelf.doubtful
    layups.lay_plies(
        by=bea,
        pull=pull,
        plies=plies,
        lots=lots,
    )
    wanted = mass.resin_to_mix(laminate, plies, laminate.resin.ratio)
    for minutes in (25, 80):  # two small pots: a large one heats itself
        layups.mix_resin(
            by=bea,
            pull=pull,
            resin_lot=shelf.lots["RES"],
            hardener_lot=shelf.lots["HARD"],
            resin=grams(f"{wanted.resin_g / 2:.0f} g"),
            hardener=grams(f"{wanted.hardener_g / 2:.0f} g"),
            mixed_at=started + timedelta(minutes=minutes),
            temperature=21_500,
        )
    layups.test_bag(by=tomas, pull=pull, level=kpa("93"), after=kpa("91.5"), minutes=5)
    pulls.note_work(by=bea, pull=pull, minutes=155, what="lay-up and bag")
    pulls.note_work(by=tomas, pull=pull, minutes=120, what="cutting plies, helping")
    return pull


def _cure(people, pull: Pull) -> None:
    closed = pull.started_at + timedelta(hours=3)
    pulls.close_layup(by=people["bea"], pull=pull, closed_at=closed)
    content = trace_csv(pull.number)
    cures.record_trace(
        by=people["tomas"],
        pull=pull,
        file_name=f"oven-{pull.tool.code}-{pull.number}.csv",
        content=content,
        trace=parse(content),
    )


def trace_csv(number: int) -> bytes:
    """An oven log: up at 0.5 K/min, 5 h at 60, down; the second sensor lags."""
    lines = ["minutes,skin_c,flange_c,vacuum_kpa"]
    for minute in range(0, 561, 5):
        up = min(22 + 0.5 * minute, 60)
        oven = up if minute <= 400 else max(60 - 0.4 * (minute - 400), 25)
        lag = 3.0 if minute < 120 else 1.0
        wave = 0.2 * ((minute // 5 + number) % 3)
        lines.append(f"{minute},{oven + wave:.1f},{oven - lag + wave:.1f},92.{number}")
    return "\n".join(lines).encode()


def _weigh(people, part: Part, mass: str, days: float) -> None:
    estimate = mass.startswith("~")
    expected = expectation_of(part)
    measure = grams(mass.removeprefix("~"))
    inside = expected.low_mg <= measure.amount <= expected.high_mg
    weights.weigh_part(
        by=people["bea"],
        part=part,
        stage="trimmed",
        mass=measure,
        weighed_on=day(days),
        estimate=estimate,
        scale="" if estimate else "bench scale 2",
        reason="" if inside else "laid up wet, squeegee too soft",
    )


def _blemish(people, mold) -> None:
    """The second pull stuck a little; what it left is on every later one."""
    tooling.note_defect(
        by=people["tomas"],
        tool=mold,
        what="gel coat lifted, 12 mm",
        place="lower aft corner of the flange",
        first_pull=mold.pulls.get(number=2),
    )
