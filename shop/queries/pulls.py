"""What the pages of pulls show."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.paginator import Page

from shop.identifiers import KINDS
from shop.models import (
    BagTest,
    CureState,
    CureTrace,
    Demold,
    Lineage,
    Ply,
    PlyLaid,
    Pull,
    PullState,
    ResinBatch,
    Work,
)
from shop.numeric.units import BP_PER_PERCENT, MG_PER_G, MILLI, S_PER_H

from .paging import page_of, search
from .signatures import SignedThing, panels_of


def hours(span: timedelta | None) -> str:
    return "" if span is None else f"{span.total_seconds() / S_PER_H:.1f}"


@dataclass(frozen=True)
class PullRow:
    id: int
    mold: str
    number: int
    laminate: str
    state: str
    started_at: datetime
    release_from: datetime | None
    minutes: int
    cured: CureState | None


@dataclass(frozen=True)
class PliesLine:
    """A planned ply beside what was laid for it, None while it was not; or the other
    way round."""

    planned: Ply | None
    laid: PlyLaid | None
    signed: SignedThing | None = None


@dataclass(frozen=True)
class Earlier:
    """An earlier pull of the same mold: minutes worked, and time to its release."""

    pull: Pull
    minutes: int
    elapsed: timedelta | None

    @property
    def hours(self) -> str:
        return hours(self.elapsed)


@dataclass(frozen=True)
class PullPage:
    pull: Pull
    plies: list[PliesLine]
    batches: list[ResinBatch]
    batch_g: float
    bag_tests: list[BagTest]
    traces: list[CureTrace]
    work: list[Work]
    demold: Demold | None
    yields: list[Lineage]
    earlier: list[Earlier]
    next_ply: Ply | None

    @property
    def doubtful(self) -> list[Pull]:
        """The pull itself, where somebody who takes it out must hear of its cure."""
        out = self.pull.state == PullState.DEMOLDED
        return [self.pull] if (out or self.pull.cure) and self.pull.cure_doubt else []

    @property
    def code(self) -> str:
        return KINDS["pull"].code(self.pull.pk)

    @property
    def hours(self) -> str:
        return hours(self.pull.elapsed)

    @property
    def room(self) -> str:
        """Temperature and humidity of the room, as far as they are known."""
        celsius, humidity = self.pull.temperature, self.pull.humidity
        known = [f"{celsius / MILLI:g} °C"] if celsius is not None else []
        known += [f"{humidity / BP_PER_PERCENT:g} %"] if humidity is not None else []
        return ", ".join(known)


def pulls(*, q="", state="", page=1) -> Page:
    rows = Pull.objects.select_related("tool", "laminate").order_by(
        "-started_at", "-pk"
    )
    if state:
        rows = rows.filter(state=state)
    return page_of(search(rows, q, "tool__code", "laminate__code"), page, _row)


def _row(pull: Pull) -> PullRow:
    return PullRow(
        pull.pk,
        pull.tool.code,
        pull.number,
        str(pull.laminate),
        PullState(pull.state),
        pull.started_at,
        pull.release_from,
        pull.minutes,
        pull.cured,
    )


def _lines(planned: list[Ply], laid: list[PlyLaid]) -> list[PliesLine]:
    by_order = {ply.order: ply for ply in laid if ply.planned}
    signed = panels_of("ply", [ply.pk for ply in laid])
    pairs = [(ply, by_order.get(ply.order)) for ply in planned]
    pairs += [(None, ply) for ply in laid if not ply.planned]
    return [PliesLine(ply, row, row and signed[row.pk]) for ply, row in pairs]


def pull_page(pull: Pull) -> PullPage:
    planned = list(pull.laminate.plies.select_related("material"))
    laid = list(
        pull.plies_laid.select_related("material", "lot", "witness", "entry__by")
    )
    lines = _lines(planned, laid)
    batches = list(
        pull.batches.select_related(
            "resin_lot__material", "hardener_lot__material", "entry__by"
        ).order_by("pk")
    )
    before = pull.tool.pulls.filter(number__lt=pull.number).exclude(
        state=PullState.VOID
    )
    return PullPage(
        pull,
        lines,
        batches,
        sum(batch.resin_mg + batch.hardener_mg for batch in batches) / MG_PER_G,
        list(pull.bag_tests.select_related("entry__by").order_by("pk")),
        list(pull.traces.select_related("recipe", "entry__by").order_by("-pk")),
        list(pull.work.select_related("entry__by").order_by("pk")),
        Demold.objects.filter(pull=pull).select_related("entry__by").first(),
        list(pull.yields.select_related("part__design").order_by("pk")),
        [
            Earlier(pull_before, pull_before.minutes, pull_before.elapsed)
            for pull_before in before.select_related("tool").order_by("-number")[:10]
        ],
        next((line.planned for line in lines if not line.laid), None),
    )
