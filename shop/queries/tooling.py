"""What the pages of tools, routes, release and machines show."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.paginator import Page
from django.db.models import F
from django.utils import timezone

from shop.identifiers import KINDS
from shop.models import (
    AxisPlay,
    Hand,
    Hold,
    Machine,
    MillingSetup,
    Person,
    Photo,
    PhotoPin,
    Pull,
    ReleaseCoat,
    RouteStep,
    StepDone,
    Tool,
    ToolDefect,
    ToolKind,
    ToolState,
    ToolStep,
)
from shop.numeric.units import CENTS, PPM
from shop.rules import milled_finish
from shop.rules.release import layup_from, layup_warnings, next_coat_from
from shop.rules.routes import may_take

from .paging import page_of, search


@dataclass(frozen=True)
class ToolRow:
    """`waiting` is how long it has waited for `waits_for`; `mine`: the reader may."""

    id: int
    code: str
    name: str
    kind: str
    hand: str
    place: str
    state: str
    waits_for: str
    waiting: timedelta | None
    role: str
    mine: bool
    pulls: int
    owner: str


def tool_row(reader: Person, now) -> Callable[[Tool], ToolRow]:
    def shape(tool: Tool) -> ToolRow:
        step = tool.waits_for
        return ToolRow(
            tool.pk,
            tool.code,
            tool.name,
            tool.get_kind_display(),
            "" if tool.hand == Hand.NONE else tool.get_hand_display(),
            tool.place,
            ToolState(tool.state),
            step.name if step else "",
            now - tool.waits_since if step and tool.waits_since else None,
            step.get_role_display() if step and step.role else "",
            bool(step and may_take(reader, step)),
            tool.last_pull,
            tool.owner,
        )

    return shape


def tools(
    *, reader: Person, q="", kind="", state="", order="", waits="", page=1
) -> Page:
    """Return a page of tools; order "waiting" puts what has waited longest first."""
    rows = Tool.objects.select_related("waits_for")
    if kind:
        rows = rows.filter(kind=kind)
    # Named states, so that the index counts them: an exclusion reads every row.
    here = [ToolState.IN_USE, ToolState.HELD]
    rows = rows.filter(state__in=[state] if state else here)
    if waits:
        rows = rows.filter(waits_for__name=waits)
    rows = search(rows, q, "code", "name", "place")
    if order == "waiting":
        rows = rows.order_by(F("waits_since").asc(nulls_last=True), "code")
    return page_of(rows, page, tool_row(reader, timezone.now()))


@dataclass(frozen=True)
class ReleasePage:
    """What the release record says now; times None: at once, or no coat at all."""

    coats: list[ReleaseCoat]
    next_coat: datetime | None
    layup: datetime | None
    warnings: list[str]


@dataclass(frozen=True)
class Pin:
    """A defect on a photo, in its pixels."""

    what: str
    x: int
    y: int


@dataclass(frozen=True)
class Sketch:
    photo: Photo
    pins: list[Pin]

    @property
    def radius(self) -> int:
        return max(6, self.photo.width // 60)


@dataclass(frozen=True)
class ToolPage:
    tool: Tool
    steps: list[ToolStep]
    steps_done: list[StepDone]
    acts: list
    defects: list[ToolDefect]
    pulls: list[Pull]
    molds: list[Tool]
    milling: list[MillingSetup]
    release: ReleasePage | None
    photos: list[PhotoPin]
    hold: Hold | None

    @property
    def code(self) -> str:
        return KINDS["tool"].code(self.tool.pk)

    @property
    def cost_per_pull(self) -> str:
        cents = self.tool.cost_per_pull
        return "" if cents is None else f"{cents / CENTS:.2f}"

    @property
    def sketches(self) -> list[Sketch]:
        """Photos with the open defects that are pinned on them."""
        sketches: dict[int, Sketch] = {}
        for defect in self.defects:
            if defect.photo and defect.x_ppm is not None and not repaired(defect):
                sketch = sketches.setdefault(defect.photo_id, Sketch(defect.photo, []))
                x = round(defect.x_ppm * defect.photo.width / PPM)
                y = round(defect.y_ppm * defect.photo.height / PPM)
                sketch.pins.append(Pin(defect.what, x, y))
        return list(sketches.values())


def repaired(defect: ToolDefect) -> bool:
    return getattr(defect, "repair", None) is not None


LAST = 60


def tool_page(tool: Tool) -> ToolPage:
    done = tool.steps_done.select_related(
        "step", "lot__material", "entry__by", "withdrawal__entry__by"
    )
    return ToolPage(
        tool,
        list(tool.steps.all()),
        list(done.order_by("-done_at", "-pk")[:LAST]),
        list(tool.acts.select_related("entry__by").order_by("-pk")[:LAST]),
        list(
            tool.defects.select_related(
                "first_pull__tool", "repair__entry__by", "entry__by", "photo"
            ).order_by("-pk")
        ),
        list(
            tool.pulls.select_related("tool", "laminate", "demold").order_by("-number")[
                :LAST
            ]
        ),
        list(tool.molds.all()),
        list(tool.milling.select_related("machine").order_by("-milled_on", "-pk")),
        _release(tool) if tool.kind in (ToolKind.PLUG, ToolKind.MOLD) else None,
        photos_of("tool", tool.pk),
        open_hold("tool", tool.pk),
    )


def _release(tool: Tool) -> ReleasePage:
    coats = tool.release_coats.select_related(
        "product", "lot__material", "entry__by", "withdrawal__entry__by"
    )
    warns = layup_warnings(tool, timezone.now()) if tool.kind == ToolKind.MOLD else []
    return ReleasePage(
        list(coats.order_by("-applied_at", "-pk")[:LAST]),
        next_coat_from(tool.last_coat),
        layup_from(tool.last_coat),
        warns,
    )


def pins_of(kind: str, key):
    """Photos pinned to a thing, the newest first."""
    pins = PhotoPin.objects.filter(subject_kind=kind, subject_id=str(key))
    return pins.select_related("photo", "entry__by", "entry__confirmation").order_by(
        "-pk"
    )


def photos_of(kind: str, key) -> list[PhotoPin]:
    return list(pins_of(kind, key)[:LAST])


def open_hold(kind: str, key: int) -> Hold | None:
    holds = Hold.objects.filter(subject_kind=kind, subject_id=key, lifted_entry=None)
    return holds.select_related("entry__by").first()


@dataclass(frozen=True)
class RouteOf:
    kind: str
    word: str
    steps: list[RouteStep]


def routes() -> list[RouteOf]:
    steps = list(RouteStep.objects.all())
    return [
        RouteOf(kind, word, [step for step in steps if step.kind == kind])
        for kind, word in ToolKind.choices
        if kind != ToolKind.LOAN
    ]


@dataclass(frozen=True)
class MillingRow:
    """A set-up with the play of the axes as it was last measured by that day."""

    setup: MillingSetup
    play: AxisPlay | None
    over: bool


@dataclass(frozen=True)
class MachinePage:
    machine: Machine
    play: list[AxisPlay]
    setups: list[MillingRow]


@dataclass(frozen=True)
class MillingPage:
    setup: MillingSetup
    play: AxisPlay | None
    over: bool
    slopes: list

    @property
    def code(self) -> str:
        return KINDS["milling"].code(self.setup.pk)


def _play_on(day, plays: list[AxisPlay]) -> AxisPlay | None:
    """The worst of the axes' last measurements up to a day; plays newest first."""
    last = {}
    for play in plays:
        if play.measured_on <= day:
            last.setdefault(play.axis, play)
    return max(last.values(), key=lambda play: play.play_nm, default=None)


def _over(play: AxisPlay | None, limit: int | None) -> bool:
    return bool(play and limit is not None and play.play_nm > limit)


def _milling_rows(machine: Machine, setups, plays) -> list[MillingRow]:
    rows = []
    for setup in setups:
        play = _play_on(setup.milled_on, plays)
        rows.append(MillingRow(setup, play, _over(play, machine.play_limit_nm)))
    return rows


def machine_page(machine: Machine) -> MachinePage:
    plays = list(
        machine.play.select_related("entry__by").order_by("-measured_on", "-pk")
    )
    setups = machine.setups.select_related("tool", "machine").order_by(
        "-milled_on", "-pk"
    )
    return MachinePage(machine, plays, _milling_rows(machine, setups, plays))


def machines() -> list[MachinePage]:
    """Every machine with its plugs milled while play was above its limit: 3 looks."""
    rows = Machine.objects.prefetch_related("play", "setups__tool")
    pages = []
    for machine in rows:
        plays = sorted(
            machine.play.all(), key=lambda p: (p.measured_on, p.pk), reverse=True
        )
        setups = _milling_rows(machine, machine.setups.all(), plays)
        pages.append(MachinePage(machine, plays, [row for row in setups if row.over]))
    return pages


def milling_page(setup: MillingSetup) -> MillingPage:
    plays = list(setup.machine.play.order_by("-measured_on", "-pk"))
    play = _play_on(setup.milled_on, plays)
    return MillingPage(
        setup,
        play,
        _over(play, setup.machine.play_limit_nm),
        milled_finish.finish_of(setup, play and play.play_nm),
    )
