"""What comes most often: bars from the most, and the share of all up to there."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.drawing.scene import Group, Scene, Shape, Text, box, line
from shop.numeric.units import PERMILLE_PER_PERCENT

WIDTH, ROW, TOP, NAMES, COUNTS = 1000.0, 38.0, 34.0, 330.0, 150.0
TEXT = 17.0
LONGEST = 36


@dataclass(frozen=True)
class Bar:
    """How often something came, and the page that lists it."""

    name: str
    count: int
    url: str = ""


@dataclass(frozen=True)
class Share:
    """A bar with what it and those before it make of all, in tenths of a percent."""

    bar: Bar
    permille: int
    up_to: int


def shares(bars: Sequence[Bar]) -> list[Share]:
    """Each bar from the most to the least, ties by name, with its share of all."""
    ordered = sorted(bars, key=lambda bar: (-bar.count, bar.name))
    total = sum(bar.count for bar in ordered)
    cumulative, sum_so_far = [], 0
    for bar in ordered:
        sum_so_far += bar.count
        # Half up, in whole numbers: 1 of 3 is 333, 2 of 3 are 667.
        share = (2000 * bar.count + total) // (2 * total) if total else 0
        up_to = (2000 * sum_so_far + total) // (2 * total) if total else 0
        cumulative.append(Share(bar, share, up_to))
    return cumulative


def percent(permille: int) -> str:
    whole, tenths = divmod(permille, PERMILLE_PER_PERCENT)
    return f"{whole}.{tenths} %"


def build(title: str, shares: Sequence[Share]) -> Scene:
    """The scene: a bar a row, its count at its end, the share up to there beside."""
    most = max((share.bar.count for share in shares), default=1)
    room = WIDTH - NAMES - COUNTS
    bottom = TOP + ROW * len(shares)
    shapes: list[Shape] = [
        Text(NAMES - 12, TOP - 12, "what", TEXT * 0.85, "word", "end"),
        Text(NAMES, TOP - 12, "how often", TEXT * 0.85),
        Text(WIDTH - 8, TOP - 12, "share up to here", TEXT * 0.85, "word", "end"),
        line(NAMES, TOP, NAMES, bottom, "axis"),
    ]
    for number, share in enumerate(shares):
        y, long = TOP + ROW * number, max(2.0, room * share.bar.count / most)
        base = y + ROW / 2 + TEXT * 0.35
        name = share.bar.name
        label = name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…"
        row = (
            box(NAMES, y + 6, long, ROW - 12, "half"),
            box(NAMES, y + 6, long, ROW - 12, "bar"),
            Text(NAMES - 12, base, label, TEXT, "word", "end"),
            Text(NAMES + long + 8, base, str(share.bar.count), TEXT, "value"),
            Text(WIDTH - 8, base, percent(share.up_to), TEXT, "word", "end"),
        )
        spoken = f"{name}: {share.bar.count}"
        shapes.append(Group(row, href=share.bar.url, name=spoken, key=str(number)))
    return Scene(WIDTH, bottom + 8, tuple(shapes), title, links=True)
