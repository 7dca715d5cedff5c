"""What of measuring and deciding is signed: a fit check, what was offered, what the
inspector said of it, a disposition.

Names and values are part of the record: another name or another way to write a value is
another form, or every signature before it would read as changed.
"""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Prefetch
from django.urls import reverse
from django.utils.translation import gettext as _

from qa.models import (
    Check,
    CurrentReading,
    FitUp,
    Inspection,
    InspectionOutcome,
    Nonconformance,
    NonconformanceStep,
    OfferedJoint,
    Outcome,
)
from qa.rules import acceptance, authorship, gauge_doubts, item_life
from shop.identifiers import address_of
from shop.numeric.units import NM_PER
from shop.rules.signed_work import disowned, moment, name_of, thousandths
from shop.rules.signing import Content, Signable

YES_NO = {True: "yes", False: "no"}
OFFERED_AT = "offered_joint"


def exactly(nm: int | None) -> str:
    """A length in mm to the last nanometer: no reader's unit or rounding changes it."""
    if nm is None:
        return ""
    sign, (whole, part) = "-" * (nm < 0), divmod(abs(nm), NM_PER["mm"])
    return f"{sign}{whole}.{part:06d} mm"


def plain(code: str) -> str:
    return code.replace("_", " ")


def serial(part) -> str:
    return part.serial if part else ""


# ------------------------------------------------------------------ fit checks

# Of more tables in one statement PostgreSQL weighs long how to join them.
OF_CHECK = ("instrument", "state", "entry__by", "entry__confirmation")
FIT_UPS = FitUp.objects.select_related(
    *("airframe", "joint", "revision", "part", "surround_part"),
    *("entry__by", "entry__confirmation"),
)


def checks(keys: Iterable[int]) -> dict[int, Content]:
    keys = list(keys)
    rows = Check.objects.filter(pk__in=keys).select_related(*OF_CHECK)
    rows = rows.prefetch_related(Prefetch("fit_up", FIT_UPS))
    current = CurrentReading.objects.filter(fit_check__in=keys).select_related(
        "reading__entry__by", "station"
    )
    read = defaultdict(list)
    for current_reading in current.order_by("station__order", "kind", "pk"):
        read[current_reading.fit_check_id].append(current_reading)
    rows = list(rows)
    off = gauge_doubts.found_off(rows)
    return {row.pk: _check(row, read[row.pk], off.get(row.pk)) for row in rows}


def _check(row: Check, read: list[CurrentReading], off) -> Content:
    up = row.fit_up
    return Content(
        what=row.label,
        fields=(
            ("airframe", up.airframe.serial),
            ("joint", up.joint.number),
            ("revision", str(up.revision.number)),
            ("fit-up", str(up.number)),
            ("part", serial(up.part)),
            ("against", serial(up.surround_part)),
            ("held", row.held_text),
            ("in the condition of acceptance", YES_NO[row.in_acceptance_condition]),
            ("finish", row.finish),
            ("instrument", row.instrument.code if row.instrument else ""),
            ("standard uncertainty", exactly(row.u_nm)),
            ("temperature", thousandths(row.temperature_mc, "°C")),
            ("note", row.note),
            ("begun by", name_of(row.entry)),
            ("finished", moment(row.state.finished_at)),
            *(_reading(current_reading) for current_reading in read),
        ),
        address=address_of(row),
        doers=lambda: {
            row.entry.by_id,
            *(current_reading.reading.entry.by_id for current_reading in read),
        },
        since=(
            *disowned(row.entry, "check"),
            *disowned(up.entry, "fit-up"),
            *((gauge_doubts.off_words(off),) if off else ()),
        ),
        shut=lambda: _check_shut(row),
    )


def _reading(current_reading: CurrentReading) -> tuple[str, str]:
    read = current_reading.reading
    typed = f"{read.value} {read.unit}"
    if read.outcome == Outcome.FEELER:
        typed = f"{read.goes} goes, {read.does_not_go} does not, {read.unit}"
    elif read.value_nm is None:
        typed = f"{read.outcome}: {read.reason}"
    words = [typed, exactly(read.value_nm), plain(read.verdict)]
    words += ["two values stand"] if current_reading.clash else []
    words += [name_of(read.entry), moment(read.entry.received_at)]
    name = f"station {current_reading.station.label} {current_reading.kind}"
    return name, ", ".join(word for word in words if word)


def _check_shut(row: Check) -> str:
    if row.state.finished_at is None:
        return _("Finish the check first.")
    if row.state.clashes:
        return _("Two values stand for a station: choose first.")
    if authorship.unproven(row):
        return _("Not everybody has confirmed what was sent in their name.")
    return ""


CHECK = Signable(
    "check",
    "check/1",
    "fit check",
    {
        "performed": "measure",
        "inspected": "sign as inspected",
        "approved": "sign as approved",
        "released": "sign as released",
    },
    checks,
)

# ------------------------------------------------------------------ offers


def _offered_fields(row: OfferedJoint) -> tuple[tuple[str, str], ...]:
    body = row.content
    checks_told = (
        ", ".join(
            [check["check"], check["finish"], check["instrument"] or "", check["by"]]
        )
        for check in body["checks"]
    )
    return (
        ("offer", row.offer.label),
        ("airframe", body["airframe"]),
        ("joint", body["joint"]),
        ("revision", str(body["revision"])),
        ("fit-up", str(body["fit_up"])),
        ("part", body["part"]),
        ("against", body["surround"] or ""),
        ("checks", "; ".join(checks_told)),
        ("short of", ", ".join(map(plain, body["short"]))),
        ("items", ", ".join(f"{item[0]} {plain(item[2])}" for item in body["items"])),
        *(_offered_line(line) for line in body["lines"]),
        ("digest of what was offered", row.digest),
    )


def _offered_line(line: dict) -> tuple[str, str]:
    words = [exactly(line["value_nm"]), plain(line["state"]), line["check"] or ""]
    words += ["decided to stay so"] if line["left_by"] else []
    words += ["kept by witnesses"] if line["carried"] else []
    name = f"station {line['station']} {line['kind']}"
    return name, ", ".join(word for word in words if word)


def offered(keys: Iterable[int]) -> dict[int, Content]:
    rows = list(acceptance.whole().filter(pk__in=list(keys)))
    changes = acceptance.changes(rows) if rows else {}
    return {row.pk: _offered(row, changes[row.pk]) for row in rows}


def _offered(row: OfferedJoint, changes: list[str]) -> Content:
    return Content(
        what=f"{row.offer.label} {row.joint.number}",
        fields=_offered_fields(row),
        address=reverse(OFFERED_AT, args=[row.offer.number, row.order]),
        doers=lambda: acceptance.doers(row),
        since=tuple(changes),
    )


OFFERED = Signable(
    "offered", "offered/1", "offered joint", {"performed": "offer work"}, offered
)


def inspections(keys: Iterable[int]) -> dict[int, Content]:
    rows = list(
        Inspection.objects.filter(pk__in=list(keys))
        .select_related("entry__by")
        .prefetch_related(Prefetch("offered", acceptance.whole()), "remarks__item")
    )
    changes = acceptance.changes([row.offered for row in rows]) if rows else {}
    return {row.pk: _inspection(row, changes[row.offered_id]) for row in rows}


def _inspection(row: Inspection, changes: list[str]) -> Content:
    of = row.offered
    rejected = row.outcome == InspectionOutcome.REJECTED
    return Content(
        what=f"{of.offer.label} {of.joint.number}: {plain(row.outcome)}",
        fields=(
            ("said", plain(row.outcome)),
            ("said by", name_of(row.entry)),
            ("note", row.note),
            *(
                (
                    f"remark, {remark.station or 'the joint whole'}",
                    f"{remark.text} ({remark.item.label})",
                )
                for remark in row.remarks.all()
            ),
            ("digest of what was said", row.digest),
            *_offered_fields(of),
        ),
        address=reverse(OFFERED_AT, args=[of.offer.number, of.order]),
        doers=lambda: acceptance.doers(of),
        since=tuple(changes),
        rights={"approved": None, "released": None} if rejected else None,
        # What is signed says who looked: nobody else inspected that.
        only={"inspected": row.entry.by},
    )


INSPECTION = Signable(
    "inspection",
    "inspection/1",
    "inspection",
    {
        "inspected": "inspect",
        "approved": "sign as approved",
        "released": "sign as released",
    },
    inspections,
)

# ------------------------------------------------------------------ dispositions


FITTED = Check.objects.select_related(
    "fit_up__part__design", "fit_up__surround_part__design"
)


def items(keys: Iterable[int]) -> dict[int, Content]:
    keys = list(keys)
    rows = Nonconformance.objects.filter(pk__in=keys).select_related(
        "airframe",
        "joint",
        "part__design",
        "defect",
        "entry__by",
        "standing__disposed_by",
    )
    rows = rows.prefetch_related(Prefetch("fit_check", FITTED))
    steps = NonconformanceStep.objects.filter(
        nonconformance__in=keys, verb=NonconformanceStep.Verb.DISPOSE
    ).select_related("entry__by")
    decided = {step.nonconformance_id: step for step in steps.order_by("pk")}
    return {row.pk: _item(row, decided.get(row.pk)) for row in rows}


def _item(row: Nonconformance, step: NonconformanceStep | None) -> Content:
    standing = row.standing
    if item_life.undecided(standing):
        step = None
    concession = standing.disposition in item_life.DESIGN_AUTHORITY
    return Content(
        what=f"{row.airframe.serial} {row.label}",
        fields=(
            ("airframe", row.airframe.serial),
            ("item", row.title),
            ("kind", row.defect.name if row.defect else plain(row.kind)),
            ("joint", row.joint.number if row.joint else ""),
            ("part", serial(row.part)),
            ("structure", plain(item_life.structural_class(row))),
            ("requirement", row.requirement),
            ("found", row.found),
            ("stations", ", ".join(map(str, row.stations))),
            ("place", row.place),
            ("disposition", plain(step.disposition) if step else ""),
            ("because", step.note if step else ""),
            ("concession", step.concession if step else ""),
            ("decided by", name_of(step.entry) if step else ""),
            ("decided", moment(step.entry.received_at) if step else ""),
        ),
        address=address_of(row),
        doers=lambda: item_life.doers(row),
        shut=lambda: "" if step else _("Nothing is decided of it yet."),
        rights={"approved": "approve concessions"} if concession else None,
    )


DISPOSITION = Signable(
    "disposition",
    "disposition/1",
    "disposition",
    {
        "inspected": "close nonconformances",
        "approved": "dispose nonconformances",
        "released": "sign as released",
    },
    items,
    # Who decides may have worked on the part; who verifies may not.
    by_others=("inspected",),
)

SIGNABLES = (CHECK, OFFERED, INSPECTION, DISPOSITION)
