"""Pages of record for paper: what the page shows, as final texts."""

from datetime import datetime

from django.conf import settings
from django.utils import timezone

from qa import rules
from qa.drawing.joint_map import JointMap
from qa.models import Joint, Kind
from qa.paper.check_sheet import CheckSheet, SheetFinding, SheetRow
from shop.ledger import sealer
from shop.ledger.canonical import canonical, digest
from shop.models import Seal

from . import checks, maps

WORDS = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "not_proven": "not proven",
    None: "not all measured",
}
KIND = {Kind.GAP: "gap", Kind.FLUSH: "flush"}


def local(moment: datetime | None) -> str:
    """Return a time in the shop's zone, with the zone's name."""
    if moment is None:
        return ""
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M %Z")


def sheet_of(view: checks.CheckView, url: str) -> CheckSheet:
    """Return the inspection sheet of a check: the same record gives the same sheet."""
    check, fit_up = view.check, view.check.fit_up
    content = content_of(view)
    last = check.state.last_entry or view.entry
    return CheckSheet(
        shop=settings.SHOP_NAME,
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
        outcome_word=WORDS[view.row.verdict],
        counts=tuple(
            (state, word, view.counts[key])
            for state, word, key in (
                ("conforms", "conform", "conforms"),
                ("above", "do not conform", "does_not_conform"),
                ("not_proven", "not proven", "not_proven"),
                ("not_measured", "not measured", "not_measured"),
            )
        ),
        map=view.map,
        profile=view.profile,
        rows=tuple(_row(view, line) for line in view.lines),
        issued_at=last.received_at,
        issued_text=local(last.received_at),
        joint_probability=_all_conform(view),
        again=tuple(
            f"station {one['station']}, {KIND[one['kind']]}: not proven"
            for one in view.measure_again
        ),
        findings=_findings(view),
        remarks=tuple(
            text for text in (view.finish_on, fit_up.note, check.note) if text
        ),
        creator=view.row.by,
        url=url,
        digest=digest(content),
        ledger_head=ledger_place(last),
        banner="" if check.state.state == "finished" else "Check still open",
        data=content.encode(),
    )


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
        }
    )


def ledger_place(entry) -> str:
    """Return where the ledger chains the record's newest entry: it never changes."""
    if not hasattr(entry, "seal"):
        sealer.seal()
    seal = Seal.objects.get(entry_id=entry.pk)
    return f"{seal.position} {seal.digest}"


def _people(view) -> str:
    names = dict.fromkeys(line.by for line in view.lines if line.by)
    return ", ".join(names) or view.row.by


def _outcome(view) -> str:
    if view.row.verdict == "does_not_conform":
        return "above"
    return view.row.verdict or "not_measured"


def _all_conform(view) -> str:
    """Return the product of the probabilities (errors independent), "" if unknown."""
    product = 1.0
    for line in view.lines:
        if line.verdict:
            if line.probability is None:
                return ""
            product *= line.probability
    return f"{product:.3f} (errors independent)" if view.row.measured else ""


def condition(view) -> tuple[tuple[str, str], ...]:
    check, fit_up = view.check, view.check.fit_up
    places = 3 if view.unit == "mm" else 5
    gauge = "not stated"
    if check.instrument:
        gauge = f"{check.instrument.code} {check.instrument.name}"
        if check.u_nm:
            gauge += f", u = {rules.length(check.u_nm, view.unit, places)}"
        if check.foot_1_nm is not None and check.foot_2_nm is not None:
            base = rules.length(abs(check.foot_2_nm - check.foot_1_nm), view.unit, 1)
            gauge += f", base {base}"
    warm = "not stated"
    if check.temperature_mc is not None:
        warm = f"{check.temperature_mc / 1000:.1f} °C"
    return (
        ("Held", fit_up.held_text or "not stated"),
        ("Edges", check.get_finish_display()),
        ("Instrument", gauge),
        ("Temperature", warm),
        (
            "Acceptance condition",
            "yes" if check.in_acceptance_condition else "not claimed",
        ),
    )


def _row(view, line: checks.Line) -> SheetRow:
    nonconformance = next(
        (
            item.label
            for item in view.items
            if line.state in ("above", "below")
            and (item.kind.startswith("gap") == (line.kind == Kind.GAP))
            and line.station in item.stations
        ),
        "",
    )
    notes = [line.reason]
    if line.superseded:
        notes.append(f"{line.superseded} earlier")
    if line.correction:
        notes.append(f"bridge +{line.correction}")
    mm = line.value_nm
    return SheetRow(
        station=line.station,
        characteristic=KIND[line.kind],
        requirement=line.requirement.removesuffix(" mm"),
        typed=line.typed,
        millimeters=maps.value_text(mm, "mm", signed=line.kind == Kind.FLUSH),
        state=line.state,
        deviation=""
        if not line.deviation_nm
        else maps.value_text(line.deviation_nm, "mm", signed=True),
        probability="" if line.probability is None else f"{line.probability:.3f}",
        by=line.by,
        nonconformance=nonconformance,
        note="; ".join(note for note in notes if note),
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
    if raised:
        return raised
    return tuple(
        SheetFinding("proposed", title, "not raised") for _, title in view.findings
    )


def map_of_joint(joint: Joint, unit: str = "") -> JointMap:
    """Return the map of a joint's newest revision, without readings."""
    revision = joint.current
    revision.joint = joint
    stations = list(revision.stations.all())
    return maps.map_of(revision, stations, unit=unit, bare=True)
