"""The control chart of one place or mode over parts, alone or in subgroups."""

from dataclasses import dataclass, field
from fractions import Fraction

from django.utils.translation import gettext as _

from qa.drawing import control_chart
from qa.drawing.control_chart import ChartSheet, Note, Remark
from qa.drawing.scene import Scene
from qa.models import ChartNote, Check, Kind
from qa.numeric.measuring.charts import chart, scattered
from qa.queries.issue import local
from qa.rules import over_parts as rules
from qa.rules.over_parts import PartRead
from qa.wording import lengths
from qa.wording.lengths import true_minus
from qa.wording.measuring import RULE_SOURCES, SPREADS, remark

FINER = {"mm": 3, "in": 4}
ALONE, PULL = "", "pull"
TOGETHER = ("2", "3", "4", "5")


@dataclass(frozen=True)
class Table:
    head: tuple[str, ...]
    rows: list[tuple[str, ...]]

    @classmethod
    def of(cls, table) -> "Table":
        head, rows = table
        return cls(head, [tuple(map(true_minus, row)) for row in rows])


@dataclass(frozen=True)
class Series:
    """Values in the reader's unit, exact, with what each is of; `notes` by the key of
    the check that counts first of its part. `of` is a kind of reading at the station of
    `row`, or a mode of whole parts (no row); `target`: what a mode should be, which has
    no limits; `why` none was told."""

    title: str
    unit: str
    reads: list[PartRead]
    values: list[Fraction]
    low: Fraction | None
    high: Fraction | None
    notes: dict[int, list[ChartNote]] = field(default_factory=dict)
    of: str = ""
    row: int | None = None
    target: Fraction | None = None
    why: str = ""

    def cut_nm(self, read: PartRead) -> int:
        """What was taken off a gap again, since it was cut before it was read."""
        return read.cut_nm.get(self.row, 0) if self.of == Kind.GAP else 0

    def made_by(self, read: PartRead) -> list[Check]:
        """The checks that made the point of a part."""
        return read.made_by(self.of, self.row)


@dataclass(frozen=True)
class Way:
    """How a chart is asked for: the source of its run rules, and what is a subgroup:
    each part alone, the parts of one pull, or so many one after the other; and what
    shows how those of a subgroup differ, "range", "deviation" or "" by their number."""

    rules: str = "western_electric"
    by: str = ALONE
    spread: str = ""

    @classmethod
    def asked(cls, rules: str, by: str, spread: str = "") -> "Way":
        """What an address asks for; nonsense counts as not asked."""
        known = {ALONE, PULL, *TOGETHER}
        return cls(
            rules if rules in RULE_SOURCES else cls.rules,
            by if by in known else cls.by,
            spread if spread in SPREADS else cls.spread,
        )


AS_USUAL = Way()


def chart_of(series: Series, way: Way) -> tuple[Scene | None, Table | None, str]:
    """(drawing, table, why there is none)."""
    if not series.values:
        return None, None, series.why or _("nothing was read here")
    labels = [_label(at, read, way) for at, read in enumerate(series.reads)]
    if again := scattered(labels):
        words = _("parts of %(pulls)s were fitted before and after those of "
                  "another: a subgroup of them would stand at two times")  # fmt: skip
        return None, None, words % {"pulls": ", ".join(again)}
    spread = way.spread or None
    control = chart(series.values, labels, rules=way.rules, spread=spread)
    if control.places is None:
        return None, None, remark(control.why) or ""
    points = list(dict.fromkeys(labels))
    sheet = ChartSheet(
        title=series.title,
        unit=series.unit,
        chart=control,
        labels=tuple(_point_names(points, labels, series.reads, way)),
        notes=tuple(_notes(points, labels, series)),
        remarks=tuple(_remarks(points, labels, series)),
        rules=way.rules,
        digits=FINER[series.unit],
    )
    return control_chart.build(sheet), Table.of(control_chart.table(sheet)), ""


def _label(at: int, part_read: PartRead, way: Way) -> str:
    """What names the subgroup of the part that came at a place in the row."""
    if way.by == PULL and part_read.pull:
        return f"{part_read.pull.tool.code} {part_read.pull.number}"
    if way.by in TOGETHER:
        return str(at // int(way.by))
    return f"{at} {part_read.part.serial}"


def _point_names(points, labels, reads: list[PartRead], way: Way) -> list[str]:
    names = []
    for point in points:
        own = [
            read for label, read in zip(labels, reads, strict=True) if label == point
        ]
        ends = dict.fromkeys((own[0].part.serial, own[-1].part.serial))
        names.append(point if way.by == PULL and own[0].pull else " … ".join(ends))
    return names


def _notes(points, labels, series: Series) -> list[Note]:
    """What changed before a point: a repair or another mold, somebody who had not
    measured here before."""
    words_at: dict[int, list[str]] = {}
    mold, people = None, set()
    repairs, before = rules.repairs_of(series.reads), {}
    for label, read in zip(labels, series.reads, strict=True):
        words = words_at.setdefault(points.index(label) + 1, [])
        if read.pull:
            tool, number = read.pull.tool_id, read.pull.number
            last = before.get(tool, number - 1)
            if any(last < repair <= number for repair in repairs[tool]):
                words.append(_("repair"))
            before[tool] = number
            if mold not in (None, read.pull.tool_id):
                words.append(_("mold %(code)s") % {"code": read.pull.tool.code})
            mold = read.pull.tool_id
        by = {check.entry.by_id for check in series.made_by(read)}
        if people and by - people:
            words.append(_("new person"))
        people |= by
    return [
        Note(at, ", ".join(dict.fromkeys(words)))
        for at, words in sorted(words_at.items())
        if words
    ]


def _remarks(points, labels, series: Series) -> list[Remark]:
    """What was cut before a point was read, and what people wrote on it, with who and
    when."""
    alone = len(points) == len(labels)
    return [
        Remark(
            points.index(label) + 1,
            words if alone else f"{read.part.serial}: {words}",
        )
        for label, read in zip(labels, series.reads, strict=True)
        for words in _said_of(read, series)
    ]


def _said_of(read: PartRead, series: Series) -> list[str]:
    cut = series.cut_nm(read)
    depth = {"depth": lengths.length(cut, series.unit)}
    before = [_("%(depth)s cut before it was read, added back") % depth] if cut else []
    written = series.notes.get(read.check.pk, ())
    return [*before, *(note_words(note) for note in written)]


def note_words(note: ChartNote) -> str:
    """A note with who wrote it and on which day."""
    entry = note.entry
    return f"{note.words} ({entry.author}, {local(entry.received_at)[:10]})"
