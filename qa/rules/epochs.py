"""The words of a joint's history: what stood, what is stale, and what witnesses say."""

from dataclasses import dataclass, field
from datetime import datetime

from qa.models import AppliedMove, Check, FitUp, Outcome, Reading
from shop.numeric.units import parse_length

MOST_TOLD = 4
Key = tuple[str, str]  # (station label, "gap" or "flush")


def how_held(held: list[dict]) -> list:
    """How a part was held, so that two statements of it can be compared."""
    return sorted(
        (
            fit_up.get("kind", ""),
            str(fit_up.get("where", "")).strip(),
            fit_up.get("count") or 0,
        )
        for fit_up in held
    )


@dataclass(frozen=True)
class Value:
    """A reading that stands: measured in this state, or carried by witnesses.

    `clash`: two values stand for its station and nobody has chosen yet.
    """

    reading: Reading
    check: Check
    fit_up: FitUp
    carried: bool = False
    clash: bool = False

    @property
    def condition(self) -> tuple:
        """How the part was held and its edges finished: readings of one condition say
        nothing about those of another."""
        held = how_held(self.check.held or self.fit_up.held)
        return tuple(held), self.check.finish

    @property
    def width_nm(self) -> int:
        """How far apart the leaves of a feeler pair are: it lies in between."""
        reading = self.reading
        if reading.outcome != Outcome.FEELER:
            return 0
        goes, stops = (
            parse_length(text, reading.unit, comma=True)
            for text in (reading.goes, reading.does_not_go)
        )
        return abs(stops - goes)


@dataclass(frozen=True)
class Stale:
    """A reading that stood once, and what happened since."""

    value: Value
    why: str


@dataclass(frozen=True)
class Witnesses:
    """What the stations measured again say about those that were not.

    `repeated` are the labels that did, `by_kind` the same for gap and flushness apart;
    `apart` those that did not, with the difference in nm. `repeatability_nm` is None
    where nothing is known to compare with. `speak_for` are the kinds, each with the
    condition, for which three well-spread witnesses repeated.
    """

    repeated: tuple[str, ...] = ()
    by_kind: dict[str, tuple[str, ...]] = field(default_factory=dict)
    apart: tuple[tuple[str, str, int], ...] = ()
    repeatability_nm: int | None = None
    speak_for: frozenset[tuple] = frozenset()

    @property
    def spread(self) -> bool:
        return bool(self.speak_for)

    @property
    def keep(self) -> bool:
        return self.spread and not self.apart

    @property
    def kinds(self) -> frozenset[str]:
        """The kinds of which uncut stations are kept."""
        return (
            frozenset(kind for kind, _ in self.speak_for) if self.keep else frozenset()
        )


@dataclass
class Epoch:
    """A stretch of time in which nothing changed for the joint.

    `fit_up` is the joint's own, `began` the number of the entry that began it, `cut`
    the labels cut on the way into it, `left` the fit-ups that were left on that way and
    `moves` what was moved on it, of the part or of a surround that was moved as planned
    with it.
    `bar` says why no witness can speak across that way, "" when one can; `off` what is
    not in place in it, by side; `only_off`: a side was taken
    off and nothing else; `since` is all that happened since something was measured
    last. `before` stood when it began, `measured` was taken in
    it, `values` stand at its end.
    """

    fit_up: FitUp
    began: int
    began_at: datetime | None
    why: str
    swapped: bool
    bar: str = ""
    since: list[str] = field(default_factory=list)
    off: dict[str, str] = field(default_factory=dict)
    only_off: bool = False
    cut: frozenset[str] = frozenset()
    left: list[FitUp] = field(default_factory=list)
    moves: list[AppliedMove] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    before: dict[Key, Value] = field(default_factory=dict)
    measured: dict[Key, Value] = field(default_factory=dict)
    values: dict[Key, Value] = field(default_factory=dict)
    stale: dict[Key, Stale] = field(default_factory=dict)
    witnesses: Witnesses = Witnesses()

    def __post_init__(self):
        self.since = self.since or [self.why]

    @property
    def reasons(self) -> str:
        """What happened since something was measured last, in words."""
        return "; ".join(dict.fromkeys(self.since[-MOST_TOLD:]))
