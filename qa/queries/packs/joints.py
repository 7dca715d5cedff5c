"""The joints of a pack: each as it stands now, every characteristic of it."""

from dataclasses import dataclass, replace

from qa.drawing.joint_map import JointMap
from qa.drawing.profile import Profile
from qa.models import Check, Kind, Reading, SecondReading
from qa.numeric.verdict.acceptance import NarrowLimits
from qa.queries.checks import limit_texts
from qa.queries.issue import local
from qa.queries.joints import drawings
from qa.queries.packs import joint_maps
from qa.queries.packs.scope import Scope
from qa.rules import requirements
from qa.rules.acceptance import IN_WORK
from qa.rules.offering import Draft
from qa.wording import lengths
from qa.wording.offers import SHORT
from shop.numeric.units import MILLI
from shop.wording import states

DESIGNATOR = {Kind.GAP: "gap", Kind.FLUSH: "flush"}
LETTER = {Kind.GAP: "G", Kind.FLUSH: "F"}


@dataclass(frozen=True)
class Characteristic:
    """One line of the accountability, in the fields of a first article: its number,
    where it is, what it is, what is required, what was found, with what, and the
    nonconformance where it does not conform. Texts are final."""

    number: str
    location: str
    designator: str
    requirement: str
    result: str
    state: str
    verdict: str
    tooling: str
    nonconformance: str
    comment: str


@dataclass(frozen=True)
class PackJoint:
    """One joint as it stands. `outcome` is the state for the sign, `standing` where it
    is between in work and accepted, `short` what it lacks, `marked` the open items that
    were seen, each with the stations that the map marks."""

    number: str
    name: str
    revision: str
    source: str
    rule: str
    asked: str
    part: str
    surround: str
    fit_up: int
    unit: str
    outcome: str
    outcome_word: str
    standing: str
    standing_words: str
    short: tuple[str, ...]
    counts: tuple[tuple[str, str, int], ...]
    map: JointMap
    marked: tuple[str, ...]
    profile: Profile
    limits: tuple[str, ...]
    checks: tuple[tuple[str, ...], ...]
    lines: tuple[Characteristic, ...]
    states: tuple[str, ...]


@dataclass(frozen=True)
class Joints:
    key = "joints"
    joints: tuple[PackJoint, ...]
    never: tuple[str, ...]

    @property
    def data(self) -> list:
        return [
            {
                "joint": joint.number,
                "name": joint.name,
                "revision": joint.revision,
                "source_of_limits": joint.source,
                "decision_rule": joint.rule,
                "acceptance_condition": joint.asked,
                "part": joint.part,
                "surround": joint.surround,
                "fit_up": joint.fit_up,
                "outcome": joint.outcome_word,
                "standing": joint.standing_words,
                "lacks": list(joint.short),
                "marked_on_the_map": list(joint.marked),
                "limits_as_judged_last": list(joint.limits),
                "checks": [list(check) for check in joint.checks],
                **joint_maps.as_drawn(joint.map, joint.profile),
            }
            for joint in self.joints
        ]


def section(scope: Scope) -> Joints:
    authors = _authors(scope)
    return Joints(
        joints=tuple(_joint(scope, draft, authors) for draft in scope.drafts),
        never=tuple(scope.never),
    )


def _authors(scope: Scope) -> dict[int, str]:
    """Who read what: one statement for all."""
    rows = Reading.objects.filter(fit_check__in=scope.checks).values_list(
        "pk", "entry__by__name", "entry__claimed", "entry__confirmation__verdict"
    )
    return {
        key: name if not claimed or answer == "confirmed" else f"{name} (claimed)"
        for key, name, claimed, answer in rows
    }


def _joint(scope: Scope, draft: Draft, authors) -> PackJoint:
    state, body = draft.state, draft.body
    revision = state.revision
    revision.joint = state.joint
    lines = tuple(_line(scope, draft, line, authors) for line in body["lines"])
    standing = scope.standings.get(state.joint.pk)
    seen = joint_maps.seen_at(scope, draft)
    outcome = _outcome(body, lines)
    checks = sorted(
        {value.check.pk: value.check for value in state.now.values.values()}.values(),
        key=lambda check: check.number,
    )
    asked = revision.acceptance_condition or "not stated by the joint"
    if revision.acceptance_finish != "any":
        asked += f", {revision.get_acceptance_finish_display()}"
    return PackJoint(
        number=state.joint.number,
        name=state.joint.name,
        revision=str(revision.number),
        source=revision.source or "not stated",
        rule=revision.get_rule_display(),
        asked=asked,
        part=f"{state.fit_up.part.serial} ({state.fit_up.part.design})",
        surround=str(state.fit_up.surround_part or state.joint.surround.name),
        fit_up=state.fit_up.number,
        unit=scope.unit,
        outcome=outcome,
        outcome_word=states.whole_word(outcome),
        standing=standing.state if standing else IN_WORK,
        standing_words=_standing_words(standing),
        short=tuple(str(SHORT[code]) for code in body["short"]),
        counts=_counts(lines),
        map=joint_maps.map_of(scope, draft, lines, seen),
        marked=tuple(joint_maps.marked(scope, defect) for defect in seen),
        profile=_profile(scope, draft, lines),
        limits=_limits(state, checks, scope.unit),
        checks=tuple(_check(check, scope.unit) for check in checks),
        lines=lines,
        states=tuple(
            key for key in states.VERDICTS if key in {line.state for line in lines}
        ),
    )


def _limits(state, checks: list[Check], unit: str) -> tuple[str, ...]:
    """The limits as they were judged in the newest check."""
    if not checks:
        return ()
    return tuple(limit_texts.limits_told(checks[-1], state.seam.stations, unit))


ORDER = ("conforms", "does_not_conform", "not_proven", "stale", "not_measured")


def _counts(lines) -> tuple[tuple[str, str, int], ...]:
    """(state, words, how many): the four of every sheet, and what else there is."""
    keys = ["does_not_conform" if states.fails(x.state) else x.state for x in lines]
    counts = []
    for key in (*ORDER, "skipped"):
        row, number = states.VERDICTS[key], keys.count(key)
        if number or key in ("conforms", "does_not_conform"):
            counts.append((key, str(row.many or row.word), number))
    return tuple(counts)


def _outcome(body: dict, lines) -> str:
    """The worst of its lines; it conforms only where every line with limits does, and
    nothing else lacks."""
    worst = "conforms" if lines and not body["short"] else "not_measured"
    if not any(line.state for line in lines):
        return ""
    for line in lines:
        if line.state:
            key = "does_not_conform" if states.fails(line.state) else line.state
            worst = states.worse(worst, key)
    return worst


def _standing_words(standing) -> str:
    if standing is None:
        return "in work: never offered for inspection"
    offer = standing.offered.offer.label
    word = states.RECORDS[standing.state].word
    inspection = standing.inspection
    if inspection is None:
        words = f"{word} as {offer}"
    else:
        by = f"{inspection.entry.author}, {local(inspection.entry.received_at)}"
        words = f"{word}, {offer}, inspected by {by}"
    return f"{words}; since then: {standing.why}" if standing.changed else words


def _check(check: Check, unit: str) -> tuple[str, ...]:
    """Number, when, by whom, how held, finish, temperature, instrument."""
    warm = (
        "" if check.temperature_mc is None else f"{check.temperature_mc / MILLI:z.1f}"
    )
    gauge = check.instrument.code if check.instrument else "not stated"
    if check.u_nm:
        places = 3 if unit == "mm" else 5
        gauge += f", u = {lengths.length(check.u_nm, unit, places)}"
    held = check.held_text or "not stated"
    if check.in_acceptance_condition:
        held += " (as accepted, so stated)"
    return (
        check.label,
        local(check.entry.received_at),
        check.entry.author,
        held,
        str(check.get_finish_display()),
        warm,
        gauge,
    )


def _line(scope: Scope, draft: Draft, line: dict, authors) -> Characteristic:
    state, kind, label = draft.state, line["kind"], line["station"]
    value = state.now.values.get((label, kind))
    key = states.key_of(line["state"], line["deviation_nm"])
    word = states.verdict_word(key) if key in states.VERDICTS else "two values"
    signed = kind == Kind.FLUSH
    result = ""
    if line["value_nm"] is not None:
        beyond = line["deviation_nm"]
        value_nm = line["value_nm"]
        result = lengths.on_map(value_nm, scope.unit, signed=signed, beyond=beyond)
    check = value.check if value else None
    return Characteristic(
        number=f"{state.joint.number}.{label}{LETTER[kind]}",
        location=label,
        designator=DESIGNATOR[kind],
        requirement=_requirement(scope, draft, line, value),
        result=result,
        state=key if key in states.VERDICTS else "not_proven",
        verdict=word,
        tooling=check.instrument.code if check and check.instrument else "",
        nonconformance=_nonconformance(scope, line, kind, label, draft, key),
        comment=_comment(scope, line, value, state, authors),
    )


def _requirement(scope: Scope, draft: Draft, line: dict, value) -> str:
    """What is accepted, with what is required beside it where a guard draws it in."""
    unit, revision = scope.unit, draft.state.revision
    wanted = requirements.Requirement(*line["limits"])
    limits = lengths.limits(*wanted.limits, unit).removesuffix(f" {unit}")
    u_nm = value and (value.reading.u_nm or value.check.u_nm)
    if wanted.empty or not u_nm:
        return limits
    try:
        inside = requirements.acceptance(
            wanted, u_nm, revision.rule, revision.edition
        ).inside
    except NarrowLimits:
        return limits
    drawn = lengths.accepted(wanted.limits, inside, unit).removesuffix(f" {unit}")
    return f"{drawn} [{limits}]" if drawn else limits


def _nonconformance(scope, line, kind, label, draft, key) -> str:
    """The item of what does not conform; where nobody raised it, it says so."""
    if line["left_by"]:
        item = next(x for x in scope.items if x.pk == line["left_by"])
        return scope.name_of(item)
    if not states.fails(key):
        return ""
    joint = draft.state.joint.pk
    items = [
        scope.name_of(item)
        for item in scope.items
        if item.joint_id == joint
        and label in item.stations
        and item.standing.state != "closed"
        and (not item.of_fit or item.kind.startswith("gap") == (kind == Kind.GAP))
    ]
    return ", ".join(items) or "none raised"


def _comment(scope: Scope, line: dict, value, state, authors) -> str:
    comments = []
    if value:
        reading = value.reading
        if reading.outcome == "feeler":
            comments.append(f"{reading.goes} goes, {reading.does_not_go} not")
        elif reading.unit != scope.unit:
            comments.append(f"typed {reading.value} {reading.unit}")
        comments.append(f"{authors.get(reading.pk, '')}, {value.check.label}")
        comments.append(reading.reason)
        if line["carried"]:
            comments.append("kept by witness stations")
        if value.clash:
            comments.append("two values stand: nobody chose yet")
        if line["left_by"]:
            comments.append("decided to stay so, verified")
    old = state.now.stale.get((line["station"], line["kind"]))
    if old and not value:
        was = lengths.on_map(
            old.value.reading.value_nm, scope.unit, signed=line["kind"] == Kind.FLUSH
        )
        comments.append(f"was {was} in {old.value.check.label}; {old.why}")
    here = state.joint.pk, line["station"], line["kind"]
    comments += [_second(*second, scope.unit) for second in scope.seconds.get(here, ())]
    return "; ".join(filter(None, comments))


def _second(second: SecondReading, doubt: str, unit: str) -> str:
    """What an inspector read beside it, and why that is in doubt."""
    signed = second.kind == Kind.FLUSH
    value = lengths.on_map(
        second.value_nm, unit, signed=signed, beyond=second.deviation_nm
    )
    key = states.key_of(second.verdict, second.deviation_nm)
    gauge = f" with {second.instrument.code}" if second.instrument else ""
    word = states.verdict_word(key) if second.verdict else "not judged"
    words = f"read again by {second.entry.author}{gauge}: {value}, {word}"
    return f"{words} ({doubt})" if doubt else words


def _profile(scope: Scope, draft: Draft, lines) -> Profile:
    state = draft.state
    keys = {station.label: station.pk for station in state.seam.stations}
    standing = {
        (keys[label], kind): value.reading
        for (label, kind), value in state.now.values.items()
        if label in keys
    }
    checks = [value.check for value in state.now.values.values()]
    last = max(checks, key=lambda check: check.number) if checks else None
    drawn = drawings.profile_of(
        state.revision,
        state.seam.stations,
        standing,
        finish=last.finish if last else "finished",
        u_nm=last.u_nm if last else None,
        unit=scope.unit,
    )
    states = {(line.location, line.designator): line.state for line in lines}
    return replace(
        drawn,
        gap=tuple(_as_told(limit, states, "gap") for limit in drawn.gap),
        flush=tuple(_as_told(limit, states, "flush") for limit in drawn.flush),
    )


def _as_told(point, states: dict, kind: str):
    return replace(point, state=states.get((point.label, kind), point.state))
