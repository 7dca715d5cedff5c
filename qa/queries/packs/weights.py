"""Weights of a pack: every weighing of its parts, and the sum of an airframe whole."""

from dataclasses import dataclass

from qa.queries.packs.scope import Scope
from shop.models import Weighing
from shop.numeric.units import MG_PER_KG, NM_PER
from shop.queries.weights import balance_page
from shop.wording import masses


@dataclass(frozen=True)
class WeightLine:
    serial: str
    stage: str
    mass: str
    expected: str
    scale: str
    day: str
    by: str
    note: str


@dataclass(frozen=True)
class Weights:
    """`total` are (what, how much) of the airframe, for a pack of it whole."""

    key = "weights"
    lines: tuple[WeightLine, ...]
    never: tuple[str, ...]
    total: tuple[tuple[str, str], ...] = ()

    @property
    def data(self) -> dict:
        return {
            "weighings": [vars(line) for line in self.lines],
            "never_weighed": list(self.never),
            "airframe": [list(row) for row in self.total],
        }


def section(scope: Scope) -> Weights:
    rows = Weighing.objects.filter(part__in=scope.parts)
    rows = list(rows.select_related("part", "entry__by", "entry__confirmation"))
    weighed = {row.part_id for row in rows}
    rows.sort(key=lambda row: (row.part.serial, row.weighed_on, row.pk))
    return Weights(
        tuple(_line(row, scope.unit) for row in rows),
        tuple(part.serial for part in scope.parts if part.pk not in weighed),
        _total(scope.airframe, scope.unit) if scope.whole else (),
    )


def _line(weighing: Weighing, unit: str) -> WeightLine:
    expected = ""
    if weighing.low_mg is not None and weighing.high_mg is not None:
        ends = weighing.low_mg, weighing.high_mg
        low, high = (masses.mass(mg / MG_PER_KG, unit) for mg in ends)
        expected = f"{low} to {high} {masses.MASS[unit]}"
    return WeightLine(
        serial=weighing.part.serial,
        stage=str(weighing.get_stage_display()),
        mass=masses.weighs(weighing.mass_mg / MG_PER_KG, unit)
        + (" est." if weighing.estimate else ""),
        expected=expected,
        scale=weighing.scale,
        day=weighing.weighed_on.isoformat(),
        by=weighing.entry.author,
        note=weighing.reason,
    )


def _total(airframe, unit: str) -> tuple[tuple[str, str], ...]:
    page = balance_page(airframe)
    total = page.total
    lines = [("sum of the parts with an arm", masses.weighs(total.mass, unit))]
    if total.arm is not None:
        arm = masses.at(total.arm, unit)
        lines.append(("balances at", f"{arm} aft of the datum"))
    lacking = [x.part.serial for x in page.lines if x.part and x.kg is None]
    if lacking:
        lines.append(("without a weight", ", ".join(lacking)))
    if page.no_arm:
        lines.append(("without an arm", ", ".join(x.part.serial for x in page.no_arm)))
    if page.weighed:
        weighed = page.weighed
        words = f"{masses.weighs(weighed.mass_mg / MG_PER_KG, unit)} on {weighed.scale}"
        words += f", {weighed.weighed_on}"
        if weighed.arm_nm is not None:
            words += f", at {masses.at(weighed.arm_nm / NM_PER['mm'], unit)}"
        lines.append(("weighed whole", words))
    return tuple(lines)
