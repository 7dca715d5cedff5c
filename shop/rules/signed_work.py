"""What of the shop floor is signed: a ply, a step of a route, a pull whole.

Names and values are part of the record: another name or another way to write a value is
another form, or every signature before it would read as changed.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable

from django.utils.translation import gettext as _

from shop.identifiers import address_of
from shop.ledger.canonical import stamp
from shop.models import Entry, PlyLaid, Pull, PullState, StepDone
from shop.numeric.units import MILLI
from shop.rules.signing import Content, Signable

SEEN = {
    "performed": "sign",
    "inspected": "sign as seen",
    "approved": "sign as approved",
    "released": "sign as released",
}


def moment(at: dt.datetime | None) -> str:
    """A time as a record says it: UTC, whatever the zone of the shop becomes."""
    return f"{stamp(at)[:16].replace('T', ' ')} UTC" if at else ""


def name_of(entry: Entry) -> str:
    return entry.by.name if entry.by else ""


def thousandths(value: int | None, unit: str) -> str:
    """A temperature in 0.001 degC, or whatever else is kept so."""
    if value is None:
        return ""
    sign, whole, part = "-" * (value < 0), *divmod(abs(value), MILLI)
    return f"{sign}{whole}.{part:03d} {unit}"


def disowned(entry: Entry, what: str) -> tuple[str, ...]:
    """Words for an act that the person it names did not do."""
    if entry.authorship != "disowned":
        return ()
    return (_("%(what)s was disowned by %(who)s") % {"what": what, "who": entry.by},)


def given_up(pull: Pull) -> tuple[str, ...]:
    if pull.state != PullState.VOID:
        return ()
    return (_("the pull was given up: %(why)s") % {"why": pull.void_reason},)


def plies(keys: Iterable[int]) -> dict[int, Content]:
    rows = PlyLaid.objects.filter(pk__in=list(keys)).select_related(
        "pull__tool",
        "pull__laminate",
        "material",
        "lot",
        "entry__by",
        "entry__confirmation",
    )
    return {row.pk: _ply(row) for row in rows}


def _ply(row: PlyLaid) -> Content:
    number = row.order if row.planned else f"+{row.order}"
    return Content(
        what=f"{row.pull} ply {number}",
        fields=(
            ("pull", str(row.pull)),
            ("laminate", str(row.pull.laminate)),
            ("planned", "yes" if row.planned else "no"),
            *_ply_fields(row),
        ),
        address=address_of(row.pull),
        doers=lambda: {row.entry.by_id},
        since=(*disowned(row.entry, "ply"), *given_up(row.pull)),
    )


def _ply_fields(row: PlyLaid) -> tuple[tuple[str, str], ...]:
    return (
        ("ply", str(row.order)),
        ("area", row.area_name),
        ("material", row.material.code),
        ("orientation", f"{row.orientation} deg"),
        ("lot", row.lot.number if row.lot else ""),
        ("reason", row.reason),
        ("laid by", name_of(row.entry)),
        ("recorded", moment(row.entry.received_at)),
    )


PLY = Signable("ply", "ply/1", "ply", SEEN, plies)


def steps(keys: Iterable[int]) -> dict[int, Content]:
    rows = StepDone.objects.filter(pk__in=list(keys)).select_related(
        "tool",
        "step",
        "lot",
        "photo",
        "entry__by",
        "entry__confirmation",
        "withdrawal__entry__by",
    )
    return {row.pk: _step(row) for row in rows}


def _step(row: StepDone) -> Content:
    taken = getattr(row, "withdrawal", None)
    since = disowned(row.entry, "step")
    if taken:
        words = _("taken back by %(who)s: %(why)s")
        since += (words % {"who": taken.entry.by, "why": taken.reason},)
    return Content(
        what=f"{row.tool.code}: {row.step.name}",
        fields=(
            ("tool", row.tool.code),
            ("step", row.step.name),
            ("done", moment(row.done_at)),
            ("product", row.product),
            ("lot", row.lot.number if row.lot else ""),
            ("mix", row.mix),
            ("temperature", thousandths(row.temperature, "°C")),
            ("humidity", "" if row.humidity is None else f"{row.humidity} x 0.01 %"),
            ("minutes", "" if row.minutes is None else str(row.minutes)),
            ("reason", row.reason),
            ("note", row.note),
            ("photo", row.photo.sha256 if row.photo else ""),
            ("done by", name_of(row.entry)),
            ("recorded", moment(row.entry.received_at)),
        ),
        address=address_of(row),
        doers=lambda: {row.entry.by_id},
        since=since,
    )


STEP = Signable("step", "step/1", "step", SEEN, steps)

# What a pull is made of, by its related name, and how a row of each is told.
PIECES = {
    "plies_laid": lambda ply: (
        f"ply {ply.order}" + ("" if ply.planned else " not planned"),
        ", ".join(value for _name, value in _ply_fields(ply)[1:] if value),
    ),
    "batches": lambda batch: (
        "resin batch",
        f"{batch.resin_text} {_number(batch.resin_lot)} + {batch.hardener_text} "
        f"{_number(batch.hardener_lot)}, mixed {moment(batch.mixed_at)}, "
        f"{name_of(batch.entry)}",
    ),
    "bag_tests": lambda test: (
        "bag",
        f"{test.level_text}, {test.after_text} after {test.minutes or 0} min, "
        f"{name_of(test.entry)}",
    ),
    "traces": lambda trace: (
        "cure trace",
        f"{trace.file_name}, {trace.recipe.name}: {trace.found['outcome']}, "
        f"sha256 {trace.sha256}",
    ),
}
RELATED = {
    "plies_laid": ("material", "lot"),
    "batches": ("resin_lot", "hardener_lot"),
    "bag_tests": (),
    "traces": ("recipe",),
}


def _number(lot) -> str:
    return lot.number if lot else "no lot"


def pulls(keys: Iterable[int]) -> dict[int, Content]:
    keys = list(keys)
    rows = Pull.objects.filter(pk__in=keys).select_related(
        "tool", "laminate", "started_entry__by", "demold__entry__by"
    )
    pieces = defaultdict(list)
    for name in PIECES:
        of = Pull._meta.get_field(name).related_model.objects
        for fact in (
            of.filter(pull__in=keys)
            .select_related("entry__by", *RELATED[name])
            .order_by("pk")
        ):
            pieces[fact.pull_id].append((name, fact))
    return {row.pk: _pull(row, pieces[row.pk]) for row in rows}


def _pull(row: Pull, pieces) -> Content:
    demold = getattr(row, "demold", None)
    lines, counted = [], defaultdict(int)
    for name, fact in pieces:
        words, value = PIECES[name](fact)
        counted[words] += 1
        lines.append(
            (f"{words} ({counted[words]})" if counted[words] > 1 else words, value)
        )
    return Content(
        what=str(row),
        fields=(
            ("mold", row.tool.code),
            ("pull", str(row.number)),
            ("laminate", str(row.laminate)),
            ("started", moment(row.started_at)),
            ("started by", name_of(row.started_entry)),
            ("lay-up closed", moment(row.closed_at)),
            *lines,
            ("out of the mold", moment(demold.demolded_at) if demold else ""),
            ("release", demold.release if demold else ""),
        ),
        address=address_of(row),
        doers=lambda: {
            row.started_entry.by_id,
            *(fact.entry.by_id for _n, fact in pieces),
            *((demold.entry.by_id,) if demold else ()),
        },
        since=given_up(row),
        shut=lambda: (
            "" if demold else _("It is signed whole once it is out of the mold.")
        ),
    )


PULL = Signable("pull", "pull/1", "pull", SEEN, pulls)
SIGNABLES = (PLY, STEP, PULL)
