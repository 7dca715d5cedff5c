"""What is told of a tool, in the words of a builder."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qa.numeric.tool.estimate import Advice, ToolReport, ToolValue
from qa.numeric.tool.least_squares import ALIKE_MM, Why
from qa.wording import lengths, measuring
from shop.numeric.units import to_nm

MOST_NAMES = 12
FINER = {"mm": 3, "in": 5}
KINDS = {"gap": "gap", "flush": "flushness"}
ADVICE = {
    Advice.OUT: "cut line out",
    Advice.IN: "cut line in",
    Advice.FILL: "fill",
    Advice.RELIEVE: "relieve",
    Advice.LEAVE: "leave",
    Advice.CANNOT_TELL: "cannot tell yet",
}
NOTHING = (Advice.LEAVE, Advice.CANNOT_TELL)
REASONS = {
    Why.NO_LIMITS: "no limits are stated there, so that there is no target",
    Why.NOT_MEASURED: "no part was measured there",
    Why.FOLLOWS_SEATING: "however the mold is there, the seating of the part follows "
    "it; more stations would tell, or parts that are held",
    Why.NOT_TIED: "measured on too few parts to be told from how these sat; measure "
    "there on a part that is measured at the other stations too",
    Why.ONE_GAUGE: "all or most of it was read with one gauge, and it is off by no "
    "more than that gauge may be everywhere alike; as many parts read with another "
    "gauge would tell",
    Why.NOT_ASKED: "the joint has more stations than are worked out for a page: some, "
    "spread evenly along it, are told. The command correct_tool takes more",
}
ONE_PART = (
    "one part tells nothing about its mold; another pull would tell, or how much parts "
    "differ where that is known{stated}"
)
NO_REPEAT = (
    "no two parts were measured at enough common stations to see how much parts "
    "differ; measure another pull, or state it{stated}"
)
ALIKE = (
    "all parts read alike to the last digit, so that nothing says how much parts "
    "differ; state it{stated}, or read finer"
)
OPENING = (
    "no part was tried in more than one opening there so as to link all of {}: what is "
    "the tool's cannot be told from what is the opening's. Try a part in another of "
    "them{instead}"
)
ONE_OPENING = (
    "All parts were tried in one opening, or none is named: what is told is of mold "
    "and opening together. A part tried in a second opening would tell them apart"
)
OWN_OPENINGS = (
    "Each part was tried in an opening of its own: how openings differ counts into the "
    "scatter, and what they have in common is told with the mold. A part tried in a "
    "second opening would tell them apart."
)
SEVERAL_OPENINGS = (
    "The {} openings are taken to be right in their mean; what they have in common is "
    "told with the mold. A part tried in several counts once where it showed the same."
)
OLDER = "The {count} oldest fits are left out: the newest {most} are looked at."
OTHER_OPENINGS = (
    "Parts tried in {} are left out: none of these was tried in {} too, so that mold "
    "and opening could not be told apart."
)
KIND_LINKED = (
    "{kind} alone hangs together in fewer openings: parts that were tried in several "
    "link it in {linked}, and not with {others}. Ask below for one opening to have it "
    "told, with that opening."
)
KIND_NOT_LINKED = (
    "{kind} alone was read of no part in two of the openings {names}. Ask below for "
    "one opening to have it told, with that opening."
)
AS_A_WHOLE = (
    "A mold that is shifted, turned or tilted as a whole looks like another seating of "
    "its parts; that is taken out and not told"
)
TOGETHER = (
    "The corrections belong together: parts seat anew after them, and one alone would "
    "move the others"
)


OPENINGS_BY = (
    "What an opening does is its difference from the mean of the openings, where the "
    "same parts were tried in several; bounds hold for all {count} of these together "
    "with 95 %: {factor:.3f} standard errors, by the maximum modulus of the "
    "multivariate t distribution"
)
OPENINGS_LINKED = (
    "Only {linked} hang together by parts that were tried in several: each of these is "
    "told from the mean of these, and {others} not at all. The rows of {linked} alone "
    "would tell the tool, with these taken to be right in their mean"
)
OPENINGS_SEEN = (
    "The same part reads otherwise in another opening by {seen}, 1 sigma, beyond its "
    "seating: that counts against the openings, and not how parts differ as far as the "
    "same ones were tried in all"
)
OPENINGS_UNSEEN = (
    "How the same part reads otherwise in another opening is not seen (two parts in "
    "the same two openings would show it): all that parts differ by counts against "
    "the openings, with bounds that hold whatever of it comes again (Šidák)"
)
OPENINGS_UNBOUNDED = (
    "Nothing says how far the openings told hold: try two parts in the same two "
    "openings, or state how much parts differ{stated}"
)
OPENINGS_ALIKE = (
    "Parts read the same in every opening to the last digit, but for their seating, so "
    "that nothing says how far {kinds} of the openings hold; read finer"
)
TOO_MANY_OPENINGS = (
    "More openings and stations than can be worked out together: what each opening "
    "does to {kinds} is not told"
)


@dataclass(frozen=True)
class Terms:
    """How a reader is spoken to: how a spread is stated, what else could be done about
    openings, what the numbers are called; "" where there is no such thing."""

    stated: str = ""
    instead: str = ""
    sd: str = ""
    share: str = "The share"
    unit: str = "mm"


COMMAND = Terms(
    stated=" (--between-parts-sd-mm)",
    instead=", or leave the surrounds out and count the openings into the scatter",
    sd="between_parts_sd_mm",
    share="conforming_share",
)


def advice_text(value: ToolValue, unit: str = "mm") -> str:
    """What to do at a place: "cut line in 1.30"."""
    words = ADVICE[value.advice]
    if value.advice in NOTHING:
        return words
    return f"{words} {lengths.number(to_nm(abs(value.correction_mm)), unit)}"


def notes(
    report: ToolReport, labels: Sequence[str], worth_mm: float, terms: Terms = COMMAND
) -> list[str]:
    """What a person should know beside the advice; `labels` name the stations."""
    lines = [
        *_cannot(report, labels, terms),
        *_targets(report, labels),
        *_scatter(report, terms),
        *_bounds(report, worth_mm, terms),
        *(_openings(report) if terms.sd else ()),
        *_openings_apart(report, terms),
    ]
    if report.anything and report.seen_motions:
        lines.append(AS_A_WHOLE)
    corrected = any(value.advice not in NOTHING for value in report.values)
    return [*lines, TOGETHER] if corrected else lines


def _cannot(report: ToolReport, labels, terms: Terms) -> Iterator[str]:
    """Reasons, each once, with the places that it holds for."""
    where: dict[str, dict[str, list[str]]] = {}
    for kind in KINDS:
        for label, value in zip(labels, getattr(report, kind), strict=True):
            if value.why:
                reason = _reason(report, value.why, kind, terms)
                where.setdefault(reason, {}).setdefault(kind, []).append(label)
    for reason, places in where.items():
        if all(len(places.get(kind, ())) == len(labels) for kind in KINDS):
            yield f"Cannot tell anything: {reason}"
            continue
        kinds_at = [
            f"{KINDS[k]} at {some_of(v, len(labels))}" for k, v in places.items()
        ]
        yield f"Cannot tell {' or '.join(kinds_at)}: {reason}"


def some_of(labels: Sequence[str], of: int) -> str:
    """The labels, some of so many; not all where that would be a long list."""
    if len(labels) == of > 3:
        return "any station"
    more = len(labels) - MOST_NAMES
    shown = ", ".join(labels[:MOST_NAMES])
    return f"{shown} and {more} more" if more > 0 else shown


def _reason(report: ToolReport, why: Why, kind: str, terms: Terms) -> str:
    if why == Why.OPENING:
        names = ", ".join(report.openings[:MOST_NAMES])
        return OPENING.format(names, instead=terms.instead)
    if why != Why.NO_SCATTER:
        return REASONS[why]
    if len(report.parts) == 1:
        return ONE_PART.format(stated=terms.stated)
    seen = report.scatter.seen.get(kind) or report.scatter.seen.get("both")
    words = ALIKE if seen and seen[0] < ALIKE_MM else NO_REPEAT
    return words.format(stated=terms.stated)


def _targets(report: ToolReport, labels) -> Iterator[str]:
    for kind, name in KINDS.items():
        where = [labels[row] for row, bare in report.bare if bare == kind]
        if where:
            yield (
                f"The target of {name} at {some_of(where, len(labels))} is the limit "
                "itself: no station has two limits that would say how far inside to aim"
            )


def _scatter(report: ToolReport, terms: Terms) -> Iterator[str]:
    scatter = report.scatter
    unit = terms.unit
    seen = [
        f"{lengths.mm(sd, unit, FINER[unit])} in "
        f"{KINDS.get(kind, 'gap and flushness')} ({degrees:g} degrees of freedom)"
        for kind, (sd, degrees) in scatter.seen.items()
    ]
    if seen:
        yield f"Beyond their seating parts differ by {' and '.join(seen)}, 1 sigma"
    if len(seen) > 1 and not scatter.given and terms.sd:
        yield (
            f"{terms.sd} is the root mean square of both; gap and flushness "
            "are each bounded by their own"
        )
    if scatter.given and scatter.more_than_given:
        yield (
            f"That is plainly more than the {_given(scatter.sd_mm, terms.unit)} given: "
            "the bounds are narrower than the parts allow"
        )


def _bounds(report: ToolReport, worth_mm: float, terms: Terms) -> Iterator[str]:
    values = [value for value in report.values if value.low_mm is not None]
    if not values:
        return
    yield (
        f"Bounds hold for all {len(values)} together with 95 %: {report.factor:.3f} "
        "standard errors, by the maximum modulus of the multivariate t distribution "
        "with the correlations of these parts and stations (simulated, same for the "
        "same input); errors count as independent from station to station"
    )
    left = [value for value in values if value.advice == Advice.LEAVE]
    hiding = [v for v in left if max(-v.low_mm, v.high_mm) >= worth_mm]
    if hiding:
        widest = max(value.high_mm - value.low_mm for value in hiding) / 2
        yield (
            f"At {len(hiding)} of {len(left)} places to leave an error worth "
            "correcting could still hide (bounds up to "
            f"±{lengths.mm(widest, terms.unit)}); more pulls narrow them"
        )
    share = report.share
    now, after = (
        measuring.share(value, 0) for value in (share.whole_now, share.whole_after)
    )
    yield (
        f"{terms.share} is the expected share of these {len(values)} gaps and "
        "flushnesses that conform at the first fit of the next part, seated by least "
        f"squares; parts that conform in all of them: {now} now, {after} after the "
        "corrections"
    )


def _given(mm: float, unit: str) -> str:
    return f"{mm:g} mm" if unit == "mm" else lengths.mm(mm, unit)


def _openings(report: ToolReport) -> Iterator[str]:
    if not report.anything:
        return
    if len(report.openings) < 2:
        yield ONE_OPENING
        return
    yield (
        f"The {len(report.openings)} openings are taken to be right in their mean; "
        "what they have in common is told with the mold. A part tried in several "
        "counts once where it showed the same in them"
    )


def _openings_apart(report: ToolReport, terms: Terms) -> Iterator[str]:
    """How what is told of the openings was found, and how far it holds."""
    openings = report.apart
    if openings.linked:
        others = [name for name in report.openings if name not in openings.linked]
        yield OPENINGS_LINKED.format(
            linked=", ".join(openings.linked), others=", ".join(others)
        )
    values = [
        value for station in openings.each for value in (*station.gap, *station.flush)
    ]
    if not openings.each:
        if len(report.openings) > 1 and report.anything:
            yield TOO_MANY_OPENINGS.format(kinds="gap and flushness")
        return
    if kinds := _too_many(report):
        yield TOO_MANY_OPENINGS.format(kinds=" and ".join(kinds))
    if not any(value.opening_mm is not None for value in values):
        return
    bounded = sum(value.low_mm is not None for value in values)
    if bounded:
        yield OPENINGS_BY.format(count=bounded, factor=openings.factor)
    names = {kind: KINDS.get(kind, "gap and flushness") for kind in openings.scatter}
    seen = [
        f"{lengths.mm(sd, terms.unit, FINER[terms.unit])} in {names[kind]} "
        f"({degrees} degrees of freedom)"
        for kind, (sd, degrees) in openings.scatter.items()
        if sd >= ALIKE_MM
    ]
    alike = [names[kind] for kind, (sd, _) in openings.scatter.items() if sd < ALIKE_MM]
    if seen:
        yield OPENINGS_SEEN.format(seen=" and ".join(seen))
    elif bounded:
        yield OPENINGS_UNSEEN
    if alike:
        yield OPENINGS_ALIKE.format(kinds=" and ".join(alike))
    elif not bounded:
        yield OPENINGS_UNBOUNDED.format(stated=terms.stated)


def kind_linked(kind: str, groups: Sequence[Sequence[str]]) -> str:
    """That one kind hangs together in fewer openings than the other. groups: those in
    which it was read, what most parts were tried in first."""
    name = KINDS[kind].capitalize()
    linked = next((group for group in groups if len(group) > 1), [])
    others = ", ".join(o for group in groups if group is not linked for o in group)
    if linked:
        return KIND_LINKED.format(kind=name, linked=", ".join(linked), others=others)
    return KIND_NOT_LINKED.format(kind=name, names=others)


def _too_many(report: ToolReport) -> list[str]:
    """The kinds that can be told of the tool, and of no opening, by their number."""
    kinds = []
    for kind, name in KINDS.items():
        values = [v for station in report.apart.each for v in getattr(station, kind)]
        untold = [value for value in values if value.opening_mm is None]
        if any(value.why in (None, Why.NO_SCATTER) for value in untold):
            kinds.append(name)
    return kinds


def read_in(inputs: Sequence[dict]) -> str:
    """What a correction was told by: "2 parts of pulls 1, 2, in MG2-001"."""
    parts = {reading["part"] for reading in inputs}
    pulls = sorted({reading["pull"] for reading in inputs})
    openings = dict.fromkeys(reading["opening"] for reading in inputs)
    count = f"{len(parts)} part{'' if len(parts) == 1 else 's'}"
    which = ", ".join(map(str, pulls))
    if len(pulls) > MOST_NAMES:
        which = f"{pulls[0]} to {pulls[-1]}"
    return f"{count} of pulls {which}, in {', '.join(openings)}"
