"""The inspection sheet of a fit check: what the page shows, as final texts."""

from dataclasses import asdict, dataclass, replace
from datetime import datetime

from qa.drawing.joint_map import JointMap
from qa.drawing.profile import Profile
from qa.models import AcceptanceFinish, Kind
from qa.queries.checks import check_pages as checks
from qa.queries.checks import limit_texts
from qa.queries.issue import (
    GENERAL_CAUTIONS,
    Signature,
    boxes_of,
    ledger_place,
    local,
    signed_record,
)
from qa.rules.gauge_due import overdue
from qa.wording import lengths
from qa.wording.probabilities import thousandths
from shop.ledger.canonical import canonical, digest
from shop.models import Entry
from shop.numeric.units import MILLI
from shop.queries.identity import the_shop
from shop.wording import states

KIND = {Kind.GAP: "gap", Kind.FLUSH: "flush"}


@dataclass(frozen=True)
class SheetRow:
    """One characteristic of a station, everything as it is to be printed.

    `state` is that of `qa.drawing.symbols`; `typed` the reading as typed with its unit
    where that is not mm; `millimeters` the value judged; `deviation` signed, beyond the
    nearer limit; `probability` of conforming; `nonconformance` its number.
    """

    station: str
    characteristic: str
    requirement: str
    typed: str
    millimeters: str
    state: str
    deviation: str = ""
    probability: str = ""
    by: str = ""
    nonconformance: str = ""
    note: str = ""
    limited: bool = True


@dataclass(frozen=True)
class SheetFinding:
    """A nonconformance of the check: number, what and where, its state in words."""

    number: str
    text: str
    state: str = "open"


@dataclass(frozen=True)
class CheckSheet:
    """All that the sheet shows. Texts are final; `issued_at` must carry a time zone.

    `condition` are (caption, value) pairs: how held, bare or finished, instrument with
    its standard uncertainty and feet, temperature. `outcome` is the state for the sign,
    `outcome_word` what it says. `counts` are (state, word, number). `data` is attached
    to the file, JSON. An empty `url` leaves out the code.
    """

    shop: str
    number: str
    joint_number: str
    joint_name: str
    joint_revision: str
    airframe_type: str
    airframe_serial: str
    fitted: str
    surround: str
    fit_up: str
    done_by: str
    done_at: str
    condition: tuple[tuple[str, str], ...]
    rule: str
    outcome: str
    outcome_word: str
    counts: tuple[tuple[str, str, int], ...]
    map: JointMap
    profile: Profile
    rows: tuple[SheetRow, ...]
    issued_at: datetime
    issued_text: str = ""
    joint_probability: str = ""
    again: tuple[str, ...] = ()
    findings: tuple[SheetFinding, ...] = ()
    limits: tuple[str, ...] = ()
    cuts: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = GENERAL_CAUTIONS
    signatures: tuple[Signature, ...] = ()
    creator: str = ""
    approver: str = ""
    url: str = ""
    digest: str = ""
    ledger_head: str = ""
    banner: str = ""
    data: str = ""


def sheet_of(view: checks.CheckView, url: str) -> CheckSheet:
    """Return the inspection sheet of a check: the same record gives the same sheet."""
    check, fit_up = view.check, view.check.fit_up
    content = content_of(view)
    last = _newest(view)
    return CheckSheet(
        shop=the_shop().name,
        number=check.label,
        joint_number=fit_up.joint.number,
        joint_name=fit_up.joint.name,
        joint_revision=str(fit_up.revision.number),
        airframe_type=fit_up.airframe.type.code,
        airframe_serial=fit_up.airframe.serial,
        fitted=f"{fit_up.part.serial} ({fit_up.part.design})",
        surround=fit_up.surround_part.serial
        if fit_up.surround_part
        else fit_up.joint.surround.name,
        fit_up=f"fit-up {fit_up.number}",
        done_by=_people(view),
        done_at=local(check.state.finished_at or check.state.started_at),
        condition=condition(view),
        rule=view.rule_text,
        outcome=_outcome(view),
        outcome_word=states.whole_word(_outcome(view)),
        counts=states.counted(view.counts),
        # Said once, above the numbers, as judged.
        map=replace(view.map, limits_text=""),
        profile=view.profile,
        rows=tuple(_row(view, line) for line in view.lines),
        limits=(
            *limit_texts.limits_told(check, view.stations, view.unit),
            *limit_texts.curves_told(view.lines),
        ),
        cuts=tuple(limit_texts.cuts_told(check, view.stations, view.unit)),
        issued_at=last.received_at,
        issued_text=local(last.received_at),
        joint_probability=_all_conform(view),
        again=_again(view),
        findings=_findings(view),
        remarks=tuple(
            text
            for text in (
                *view.doubts.lines,
                fit_up.note,
                check.note,
                _since(view),
            )
            if text
        ),
        signatures=boxes_of(
            view.signed,
            performed=Signature("Measured and recorded by"),
            inspected=Signature("Inspected by", note="not the person who did the work"),
        ),
        creator=view.row.by,
        url=url,
        digest=digest(content),
        ledger_head=ledger_place(last),
        banner=_banner(view),
        data=content,
    )


def _newest(view: checks.CheckView) -> Entry:
    """The newest entry that the sheet tells of: the check's, or of what came after."""
    last = view.check.state.last_entry or view.entry
    since = view.since.entry if view.since else None
    if since and since.pk > last.pk:
        last = since
    signed = max((row.entry for row in view.signed.rows), default=0)
    return Entry.objects.get(pk=signed) if signed > last.pk else last


def _banner(view: checks.CheckView) -> str:
    if view.check.state.state != "finished":
        return "Check still open"
    return view.doubts.banner or ("Changed since this check" if view.since else "")


def _since(view: checks.CheckView) -> str:
    """Why the readings do not say how it is now, "" while they do."""
    return f"Changed since this check: {view.since.why}." if view.since else ""


def content_of(view: checks.CheckView) -> str:
    """Return the record as canonical JSON: what the digest is of, and what travels
    inside the file."""
    check = view.check
    return canonical(
        {
            "check": str(check.entry_id),
            "number": check.number,
            "joint": check.fit_up.joint.number,
            "revision": str(check.fit_up.revision.uuid),
            "airframe": check.fit_up.airframe.serial,
            "part": check.fit_up.part.serial,
            "fit_up": check.fit_up.number,
            "finish": check.finish,
            "u_nm": check.u_nm,
            "temperature_mc": check.temperature_mc,
            "counts": view.counts,
            "lines": [
                {
                    "station": line.station,
                    "kind": line.kind,
                    "requirement": line.requirement,
                    "outcome": line.outcome,
                    "typed": line.typed,
                    "value_nm": line.value_nm,
                    "verdict": line.verdict,
                    "deviation_nm": line.deviation_nm,
                    "probability": line.probability,
                    "by": line.by,
                }
                for line in view.lines
            ],
            "nonconformances": [item.label for item in view.items],
            "in_doubt": view.doubts.lines,
            "set_aside": [asdict(aside) for aside in view.doubts.asides],
            **({"since": view.since.why} if view.since else {}),
            **({"signed": signed_record(view.signed)} if view.signed.rows else {}),
        }
    )


def _again(view) -> tuple[str, ...]:
    """Return what to measure again, one line a kind."""
    lines = []
    for kind, word in KIND.items():
        labels = [
            spot["station"] for spot in view.measure_again if spot["kind"] == kind
        ]
        if labels:
            lines.append(f"{word} {states.word('not_proven')} at {', '.join(labels)}")
    return tuple(lines)


def _people(view) -> str:
    names = dict.fromkeys(line.by for line in view.lines if line.by)
    return ", ".join(names) or view.row.by


def _outcome(view) -> str:
    return view.row.verdict or states.NOT_MEASURED


def _all_conform(view) -> str:
    chance = view.all_conform
    return "" if chance is None else f"{thousandths(chance)} (errors independent)"


def condition(view) -> tuple[tuple[str, str], ...]:
    check = view.check
    places = 3 if view.unit == "mm" else 5
    gauge = "not stated"
    if check.instrument:
        gauge = f"{check.instrument.code} {check.instrument.name}"
        if check.u_nm:
            gauge += f", u = {lengths.length(check.u_nm, view.unit, places)}"
        if check.foot_1_nm is not None and check.foot_2_nm is not None:
            base = lengths.length(abs(check.foot_2_nm - check.foot_1_nm), view.unit, 1)
            gauge += f", base {base}"
        gauge += f", {_calibration(check)}"
    warm = "not stated"
    if check.temperature_mc is not None:
        warm = f"{check.temperature_mc / MILLI:z.1f} °C"
    return (
        ("Held", check.held_text or "not stated"),
        ("Edges", check.get_finish_display()),
        ("Instrument", gauge),
        ("Temperature", warm),
        ("Acceptance condition", _acceptance_condition(check)),
        ("Source of the limits", check.fit_up.revision.source or "not stated"),
    )


def _calibration(check) -> str:
    """Until when the gauge was calibrated, as it stood when the check began."""
    due = check.calibration_due
    if due is None:
        return "calibration date not stated"
    late = overdue([check]).get(check.pk)
    if late is None:
        return f"calibrated until {due}"
    state = "OVERDUE"
    if late.in_date:
        state = f"measured {late.last}, in date; sent OVERDUE"
    if late.good:
        state += f"; found good {late.good.done_on}"
    return f"calibration was due {late.due}: {state}"


def _acceptance_condition(check) -> str:
    """What the joint asks for, and what the builder said of this check."""
    revision = check.fit_up.revision
    asks = revision.acceptance_condition or "not stated by the joint"
    if revision.acceptance_finish != AcceptanceFinish.ANY:
        asks += f", {revision.get_acceptance_finish_display()}"
    stated = check.in_acceptance_condition
    return f"{asks}; this check: {'yes, so stated' if stated else 'no'}"


def _row(view, line: checks.Line) -> SheetRow:
    nonconformance = next(
        (
            item.label
            for item in view.items
            if states.fails(line.state)
            and (item.kind.startswith("gap") == (line.kind == Kind.GAP))
            and line.station in item.stations
        ),
        "",
    )
    notes = [line.reason]
    if line.superseded:
        times = "value" if line.superseded == 1 else "values"
        notes.append(f"read again, {line.superseded} earlier {times} kept")
    mm = line.value_nm
    return SheetRow(
        station=line.station,
        characteristic=KIND[line.kind],
        requirement=(line.accepted or line.requirement).removesuffix(" mm"),
        typed=line.typed,
        millimeters=lengths.on_map(
            mm, "mm", signed=line.kind == Kind.FLUSH, beyond=line.deviation_nm
        ),
        state=line.state,
        deviation=""
        if not line.deviation_nm
        else lengths.on_map(
            line.deviation_nm, "mm", signed=True, beyond=line.deviation_nm
        ),
        probability="" if line.probability is None else thousandths(line.probability),
        by=line.by,
        nonconformance=nonconformance,
        note="; ".join(note for note in notes if note),
        limited=line.limited,
    )


def _findings(view) -> tuple[SheetFinding, ...]:
    raised = tuple(
        SheetFinding(
            item.label,
            item.title,
            item.state + (f", {item.disposition}" if item.disposition else ""),
        )
        for item in view.items
    )
    return raised + tuple(
        SheetFinding("proposed", title, "not raised") for _, title in view.findings
    )
