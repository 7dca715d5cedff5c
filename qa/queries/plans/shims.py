"""Shims for a part that was checked, as the page shows them."""

from dataclasses import dataclass, field

from qa.models import Check, ShimStock
from qa.numeric.shims.stacks import AttachPoint, ShimPlan
from qa.numeric.verdict.acceptance import nearest_nm
from qa.rules.shims import ShimBasis, flush_nm, work_out
from qa.wording import lengths
from qa.wording import shims as wording
from shop.numeric.units import to_nm

MOST = 3


@dataclass(frozen=True)
class PointRow:
    """An attach point: the stack there now and the one that is proposed, as texts."""

    name: str
    now: str
    now_nm: int
    stack: str
    height: str


@dataclass
class ShimView:
    """What the page shows. `problem` says why nothing is proposed."""

    basis: ShimBasis
    unit: str
    most: int
    problem: str
    points: list[PointRow]
    fetch: list[tuple[str, int]] = field(default_factory=list)
    expected: list[tuple[str, str, str]] = field(default_factory=list)

    @property
    def check(self) -> Check:
        return self.basis.check

    @property
    def live(self) -> bool:
        return self.basis.live

    @property
    def stock(self) -> list[ShimStock]:
        return self.basis.stock

    @property
    def plan(self) -> ShimPlan | None:
        return self.basis.plan

    @property
    def conforms(self) -> bool:
        return bool(self.plan and self.plan.conforms)

    @property
    def judged(self) -> str:
        """On which stacks the part was taken to rest."""
        return wording.judged(self.plan) if self.plan else ""


def shim_view(check: Check, unit: str, most: int = MOST) -> ShimView:
    """Return the best stacks for a check (loaded with planning.RELATED)."""
    basis = work_out(check, most)
    plan = basis.plan
    stacks = plan.stacks if plan else [None] * len(basis.points)
    points = [
        _point(point, stack, unit)
        for point, stack in zip(basis.points, stacks, strict=True)
    ]
    if plan is None:
        return ShimView(basis, unit, most, basis.problem, points)
    fetch = [
        (lengths.length(to_nm(thick), unit), count)
        for thick, count in plan.to_fetch.items()
    ]
    return ShimView(
        basis, unit, most, wording.why_not(plan), points, fetch, _expected(basis, unit)
    )


def _point(point: AttachPoint, stack, unit: str) -> PointRow:
    def text(mm):
        return lengths.on_map(to_nm(mm), unit)

    made_of = ""
    if stack:
        made_of = " + ".join(plain(to_nm(shim), unit) for shim in stack.shims)
    return PointRow(
        name=point.label,
        now=text(point.shim_now_mm),
        now_nm=to_nm(point.shim_now_mm),
        stack=made_of or ("0" if stack else ""),
        height=text(stack.shim_mm) if stack else "",
    )


def plain(nm: int, unit: str) -> str:
    """A thickness as it is typed: no zeros behind, no unit."""
    per = 1e6 if unit == "mm" else 25.4e6
    return f"{nm / per:.6f}".rstrip("0").rstrip(".")


def _expected(basis: ShimBasis, unit: str) -> list[tuple[str, str, str]]:
    rows = []
    for row, rise in zip(basis.rows, basis.plan.rise_mm, strict=True):
        now = flush_nm(basis, row)
        after = now + nearest_nm(rise)
        texts = (lengths.on_map(nm, unit, signed=True) for nm in (now, after))
        rows.append((basis.state.seam.stations[row].label, *texts))
    return rows
