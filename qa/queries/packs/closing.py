"""What a pack tells of closing: what still stands in the way, temporary items in and
out, and what was proven beside gap and flushness."""

from dataclasses import dataclass
from functools import partial

from qa.models import Nonconformance, Quality, State
from qa.queries import temporary as temporary_rows
from qa.queries.close_out import empty_words
from qa.queries.issue import local
from qa.queries.packs.joints import Characteristic
from qa.queries.packs.scope import Scope
from qa.rules.close_out_stands import stay_empty, temporary_of
from qa.wording import characteristics as words
from qa.wording import close_outs
from shop.wording import states


@dataclass(frozen=True)
class StandingLine:
    """One thing that stands between here and closed."""

    kind: str
    what: str
    why: str


@dataclass(frozen=True)
class Stands:
    """`words`: what is claimed of closing, also where no line stands."""

    key = "still_stands"
    lines: tuple[StandingLine, ...]
    words: str

    @property
    def data(self) -> list:
        return [vars(line) for line in self.lines]


def standing_section(scope: Scope) -> Stands:
    lines = tuple(
        StandingLine(str(close_outs.KINDS[x.kind]), x.what, x.why)
        for x in scope.gathered.of(scope)
    )
    sentences = [_claimed(scope, len(lines))]
    if empty := stay_empty(scope.gathered.records, scope):
        places = (f"{row.position.path}: {empty_words(row)}" for row in empty)
        sentences.append(f"Meant to stay empty: {'; '.join(places)}.")
    return Stands(lines, " ".join(sentences))


def _claimed(scope: Scope, left: int) -> str:
    """What stands between it and closed; nothing is told to be closed that is not
    there, or that has an open item."""
    if left:
        stand = "thing still stands" if left == 1 else "things still stand"
        return f"{left} {stand} between this and closed."
    if any(item.standing.state != State.CLOSED for item in scope.items):
        return "Its open nonconformances stand between this and closed."
    if scope.empty:
        return "Nothing of it is fitted or placed here: nothing is claimed of closing."
    return "Nothing that is on record stands between this and closed."


@dataclass(frozen=True)
class TemporaryLine:
    """One item: what was put in where, by whom, and where its pieces are now."""

    number: str
    bay: str
    what: str
    where: str
    why: str
    put_in: str
    count: int
    inside: int
    missing: int
    out: int
    released: int
    story: str


@dataclass(frozen=True)
class TemporaryItems:
    key = "temporary_items"
    lines: tuple[TemporaryLine, ...]

    @property
    def data(self) -> list:
        return [vars(line) for line in self.lines]


def temporary_section(scope: Scope) -> TemporaryItems:
    """Each once, also what came with a part from elsewhere."""
    records = scope.gathered.records
    here = {item for item, *at in temporary_of(records) if scope.has(*at)}
    rows = temporary_rows.shown(here).order_by("airframe__serial", "number")
    stories = temporary_rows.stories(rows)
    own = [page for page in stories if page.item.airframe_id == scope.airframe.pk]
    came = [page for page in stories if page.item.airframe_id != scope.airframe.pk]
    return TemporaryItems(tuple(_temporary(scope, page) for page in own + came))


def _temporary(scope: Scope, page) -> TemporaryLine:
    row = page.row
    return TemporaryLine(
        number=scope.name_of(page.item),
        bay=row.bay,
        what=row.what,
        where=row.where,
        why=row.why,
        put_in=f"{row.by}, {local(row.at)}",
        count=row.count,
        inside=row.inside,
        missing=row.missing,
        out=row.out,
        released=row.released,
        story="; ".join(map(_step, page.steps)),
    )


def _step(step) -> str:
    words = f"{step.count} {step.get_verb_display()}, {step.entry.author}, "
    words += local(step.entry.received_at)
    return f"{words}: {step.note}" if step.note else words


@dataclass(frozen=True)
class Proven:
    """Characteristics beside gap, flushness and holes, as they stand."""

    key = "other_characteristics"
    lines: tuple[Characteristic, ...]

    @property
    def data(self) -> list:
        return [line.number for line in self.lines]


def proven_section(scope: Scope) -> Proven:
    return Proven(tuple(_proven(planned, scope) for planned in scope.characteristics))


def _is_of(planned, result, item: Nonconformance) -> bool:
    """Whether an item is of this characteristic, on the same serial."""
    return (
        item.result is not None
        and item.result.revision.characteristic_id == planned.pk
        and item.part_id == result.part_id
    )


def _proven(planned, scope: Scope) -> Characteristic:
    records = scope.gathered.records
    result = records.results.get(planned.pk)
    stale = records.stale.get(result.pk, "") if result else ""
    result_words = words.result(planned.quality, result, scope.unit) if result else ""
    state = states.key_of(result.verdict, result.deviation) if result else ""
    if result is None or state == "":
        state = "not_measured"
    remarks = [planned.current.how]
    if result:
        remarks = [
            result.note,
            f"{result.entry.author}, {local(result.entry.received_at)}",
        ]
    if stale:
        remarks = [f"was {result_words}; {stale}", *remarks]
        state, result_words = "stale", ""
    item = ""
    if states.fails(state):
        near = {"part": result.part_id, "joint": planned.joint_id}
        item = scope.raised(planned.number, partial(_is_of, planned, result), **near)
    if result and result.pk in records.left_results:
        item = scope.stays(planned.number, records.left_results[result.pk])
    return Characteristic(
        number=planned.number,
        location=planned.joint.number if planned.joint else planned.bay.path,
        designator=f"{planned.name}, {Quality(planned.quality).label}",
        requirement=words.limits(planned.current, planned.quality),
        result=result_words,
        state=state,
        verdict=states.verdict_word(state),
        tooling=result.instrument.code if result and result.instrument else "",
        nonconformance=item,
        comment="; ".join(filter(None, remarks)),
    )
