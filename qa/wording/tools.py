"""What is told of a tool, in the words of a builder. Lengths are told in mm."""

from collections.abc import Iterator, Sequence

from qa.numeric.tool.least_squares import Why
from qa.numeric.tool.scatter import ALIKE_MM
from qa.numeric.tool.tell import Advice, ToolReport, ToolValue

MOST_NAMES = 12
KINDS = {"gap": "gap", "flush": "flushness"}
ADVICE = {
    Advice.OUT: "cut line out",
    Advice.IN: "cut line in",
    Advice.FILL: "fill",
    Advice.RELIEVE: "relieve",
    Advice.LEAVE: "leave",
    Advice.CANNOT_TELL: "cannot tell yet",
}
REASONS = {
    Why.NO_LIMITS: "no limits are stated there, so that there is no target",
    Why.NOT_MEASURED: "no part was measured there",
    Why.FOLLOWS_SEATING: "however the mold is there, the seating of the part follows "
    "it; more stations would tell, or parts that are held",
    Why.NOT_TIED: "measured on too few parts to be told from how these sat; measure "
    "there on a part that is measured at the other stations too",
}
ONE_PART = (
    "one part tells nothing about its mold; another pull would tell, or how much parts "
    "differ where that is known (--between-parts-sd-mm)"
)
NO_REPEAT = (
    "no two parts were measured at enough common stations to see how much parts "
    "differ; measure another pull, or state it (--between-parts-sd-mm)"
)
ALIKE = (
    "all parts read alike to the last digit, so that nothing says how much parts "
    "differ; state it (--between-parts-sd-mm), or read finer"
)
OPENING = (
    "no part was tried in more than one opening there so as to link all of {}: what is "
    "the tool's cannot be told from what is the opening's. Try a part in another of "
    "them, or leave the surrounds out and count the openings into the scatter"
)
ONE_OPENING = (
    "All parts were tried in one opening, or none is named: what is told is of mold "
    "and opening together. A part tried in a second opening would tell them apart"
)
AS_A_WHOLE = (
    "A mold that is shifted, turned or tilted as a whole looks like another seating of "
    "its parts; that is taken out and not told"
)
TOGETHER = (
    "The corrections belong together: parts seat anew after them, and one alone would "
    "move the others"
)


def advice_text(value: ToolValue) -> str:
    """What to do at a place: "cut line in 1.30"."""
    words = ADVICE[value.advice]
    if value.advice in (Advice.LEAVE, Advice.CANNOT_TELL):
        return words
    return f"{words} {abs(value.correction_mm):.2f}"


def notes(report: ToolReport, labels: Sequence[str], worth_mm: float) -> list[str]:
    """What a person should know beside the advice; `labels` name the stations."""
    told = [
        *_cannot(report, labels),
        *_targets(report, labels),
        *_scatter(report),
        *_bounds(report, worth_mm),
        *_openings(report),
    ]
    if report.anything and report.seen_motions:
        told.append(AS_A_WHOLE)
    corrected = {v.advice for v in report.values} - {Advice.LEAVE, Advice.CANNOT_TELL}
    return [*told, TOGETHER] if corrected else told


def _cannot(report: ToolReport, labels) -> Iterator[str]:
    """Reasons, each once, with the places that it holds for."""
    where: dict[str, dict[str, list[str]]] = {}
    for kind in KINDS:
        for label, value in zip(labels, getattr(report, kind), strict=True):
            if value.why:
                reason = _reason(report, value.why, kind)
                where.setdefault(reason, {}).setdefault(kind, []).append(label)
    for reason, places in where.items():
        if all(len(places.get(kind, ())) == len(labels) for kind in KINDS):
            yield f"Cannot tell anything: {reason}"
            continue
        told = [f"{KINDS[k]} at {_names(v, len(labels))}" for k, v in places.items()]
        yield f"Cannot tell {' or '.join(told)}: {reason}"


def _names(labels: Sequence[str], of: int) -> str:
    """The labels, some of so many; not all where that would be a long list."""
    if len(labels) == of > 3:
        return "any station"
    more = len(labels) - MOST_NAMES
    shown = ", ".join(labels[:MOST_NAMES])
    return f"{shown} and {more} more" if more > 0 else shown


def _reason(report: ToolReport, why: Why, kind: str) -> str:
    if why == Why.OPENING:
        return OPENING.format(", ".join(report.openings[:MOST_NAMES]))
    if why != Why.NO_SCATTER:
        return REASONS[why]
    if len(report.parts) == 1:
        return ONE_PART
    seen = report.scatter.seen.get(kind) or report.scatter.seen.get("both")
    return ALIKE if seen and seen[0] < ALIKE_MM else NO_REPEAT


def _targets(report: ToolReport, labels) -> Iterator[str]:
    for kind, name in KINDS.items():
        where = [labels[row] for row, bare in report.bare if bare == kind]
        if where:
            yield (
                f"The target of {name} at {_names(where, len(labels))} is the limit "
                "itself: no station has two limits that would say how far inside to aim"
            )


def _scatter(report: ToolReport) -> Iterator[str]:
    scatter = report.scatter
    seen = [
        f"{sd:.3f} mm in {KINDS.get(kind, 'gap and flushness')} "
        f"({degrees:g} degrees of freedom)"
        for kind, (sd, degrees) in scatter.seen.items()
    ]
    if seen:
        yield f"Beyond their seating parts differ by {' and '.join(seen)}, 1 sigma"
    if len(seen) > 1 and not scatter.given:
        yield (
            "between_parts_sd_mm is the root mean square of both; gap and flushness "
            "are each bounded by their own"
        )
    if scatter.given and scatter.more_than_given:
        yield (
            f"That is plainly more than the {scatter.sd_mm:g} mm given: the bounds are "
            "narrower than the parts allow"
        )


def _bounds(report: ToolReport, worth_mm: float) -> Iterator[str]:
    values = [value for value in report.values if value.why is None]
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
            f"correcting could still hide (bounds up to ±{widest:.2f} mm); more pulls "
            "narrow them"
        )
    share = report.share
    yield (
        f"conforming_share is the expected share of these {len(values)} gaps and "
        "flushnesses that conform at the first fit of the next part, seated by least "
        f"squares; parts that conform in all of them: {share.whole_now:.0%} now, "
        f"{share.whole_after:.0%} after the corrections"
    )


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
