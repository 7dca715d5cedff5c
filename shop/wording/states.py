"""The one table of states: shape, word, severity and colors of each.

Pages, drawings on screen and paper and the tablet draw from it, and no other module
holds such a table (tests/test_vocabulary.py). Colors are names of tokens.css; no
traffic-light colors (reference on tablets, section 3.2). A shape and a word tell a
state, the color helps.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from shop.wording.shapes import SHAPES, Shape

NOT_MEASURED = "not_measured"


@dataclass(frozen=True)
class State:
    """How a verdict or a state is told.

    word: of one thing. many: behind a count. whole: of a joint or a check. gap, flush:
    the words of the trade where the kind is known. severity: the worse of two stands
    for both; states of a record have none. fill, line: tokens; dash: in units of the
    line; sign: the token of what stands on it. verdict: what paper and counts call it.
    beside: the shape beside a value on a map, where another says it with less ink.
    """

    shape_name: str
    word: str
    severity: int = 0
    fill: str = "paper"
    line: str = "ink"
    dash: tuple[float, ...] = ()
    sign: str = "ink"
    many: str = ""
    whole: str = ""
    gap: str = ""
    flush: str = ""
    verdict: str = ""
    beside: str = ""

    @property
    def shape(self) -> Shape:
        return SHAPES[self.shape_name]

    @property
    def bad(self) -> bool:
        """Told aloud, and never left out of a map."""
        return self.severity >= NOT_PROVEN_SEVERITY

    def word_for(self, kind: str | None = None) -> str:
        """The word, that of the trade where `kind` is "gap" or "flush"."""
        return str(getattr(self, kind or "", "") or self.word)


NOT_PROVEN_SEVERITY = 5
_OUT = {"verdict": "does_not_conform", "whole": _("does not conform")}
_OUT["many"] = _("do not conform")

VERDICTS: dict[str, State] = {
    "": State("disc", _("no limits"), whole=_("nothing to judge")),
    "conforms": State(
        "disc_tick", _("conforms"), 1, many=_("conform"), beside="tick"
    ),
    "skipped": State("struck_disc", _("skipped"), 2),
    NOT_MEASURED: State(
        "disc", _("not measured"), 3, dash=(3.5, 3), whole=_("not all measured")
    ),
    "stale": State("hexagon", _("stale"), 4, dash=(7, 2.5)),
    "not_proven": State("diamond", _("not proven"), NOT_PROVEN_SEVERITY),
    "below": State(
        "triangle_down", _("below"), 6, fill="below", line="below", sign="on-below",
        gap=_("too tight"), flush=_("low"), **_OUT,
    ),
    "above": State(
        "triangle_up", _("above"), 6, fill="above", line="above", sign="on-above",
        gap=_("too wide"), flush=_("proud"), **_OUT,
    ),
    "does_not_conform": State(
        "octagon", _("does not conform"), 6, fill="ink", sign="paper", **_OUT
    ),
}  # fmt: skip

# What only a tablet knows of a reading: typed and not judged yet, or twice.
TABLET: dict[str, State] = {
    "saved": State("disc", _("saved"), 2, dash=(1, 3)),
    "clash": State("two_discs", _("two values"), 7),
}

_OPEN, _HALF, _HELD, _GONE = "square", "square_half", "square_bars", "square_cross"


def _waiting(word) -> State:
    return State(_OPEN, word, fill="none", dash=(4, 3.2))


def _done(word) -> State:
    return State("square_tick", word, fill="ink", sign="paper")


RECORDS: dict[str, State] = {
    # Not a state of a thing but of a form: something to put right.
    "attention": State(
        "square_bang", _("to put right"), fill="above", line="above", sign="on-above"
    ),
    "good": State(_OPEN, _("in use")),
    "in_use": State(_OPEN, _("in use")),
    "open": State(_OPEN, _("open")),
    "found": State(_OPEN, _("found")),
    "laid_up": State(_OPEN, _("laying up")),
    "draft": _waiting(_("draft")),
    "waiting": _waiting(_("waiting")),
    "not_started": _waiting(_("not started")),
    "offered": _waiting(_("offered")),
    "in_work": State(_HALF, _("in work")),
    "accepted": _done(_("accepted")),
    "with_remarks": _done(_("accepted with remarks")),
    "rejected": State(_GONE, _("rejected")),
    "acceptance_void": State(_GONE, _("acceptance void")),
    "dispositioned": State(_HALF, _("dispositioned")),
    "contained": State(_HALF, _("contained")),
    "running": State(_HALF, _("running")),
    "in_progress": State(_HALF, _("in progress")),
    "worked": State(_HALF, _("worked")),
    "verified": _done(_("verified")),
    "curing": State(_HALF, _("curing")),
    "demolded": _done(_("out of the mold")),
    "closed": _done(_("closed")),
    "done": _done(_("done")),
    "finished": _done(_("finished")),
    "released": _done(_("released")),
    "held": State(_HELD, _("on hold")),
    "hold": State(_HELD, _("on hold")),
    "suspect": State(_HELD, _("suspect")),
    "scrapped": State(_GONE, _("scrapped")),
    "retired": State(_GONE, _("retired")),
    "void": State(_GONE, _("void")),
    "superseded": State(_GONE, _("superseded")),
    "replaced": State(_GONE, _("replaced")),
    "withdrawn": State(_GONE, _("withdrawn")),
    "returned": State(_GONE, _("returned")),
    "used_up": State(_GONE, _("used up")),
    "out": _done(_("out of use")),
    "lost": State(_GONE, _("lost")),
    # A close-out: nothing is in its way, or a later change voided it.
    "ready": _waiting(_("ready to close")),
    "close_out_void": State(_GONE, _("close-out void")),
    # Temporary items: in for a while only.
    "inside": State(_HALF, _("in")),
    "missing": State(
        "square_bang", _("not found"), fill="above", line="above", sign="on-above"
    ),
    "taken_out": _done(_("out")),
    "let_go": _done(_("released, not found")),
    "hole_open": State(_HALF, _("open")),
    "hole_filled": _done(_("filled")),
    "signed": _done(_("signed")),
    "signed_before": State(_GONE, _("changed since signed")),
    "damaged": State(_HELD, _("damaged")),
}

# What has other words, and is told by the shape of a verdict.
CURES: dict[str, State] = {
    "met": State("disc_tick", _("met"), 1, verdict="conforms"),
    "not_met": State(
        "octagon", _("not met"), 6, fill="ink", sign="paper", verdict="does_not_conform"
    ),
    "open": State("diamond", _("open"), 5, verdict="not_proven"),
}


def key_of(verdict, deviation: float | None = None) -> str:
    """The row of a verdict: one that does not conform is above or below where the sign
    of its deviation is known; None (no limits) is ""."""
    verdict = getattr(verdict, "value", verdict)
    if verdict == "does_not_conform" and deviation:
        return "above" if deviation > 0 else "below"
    return str(verdict or "")


def worse(first: str, second: str) -> str:
    """The state that stands for both; the first when they are equally bad."""
    bad, other = VERDICTS[first].severity, VERDICTS[second].severity
    return second if other > bad else first


def word(key: str, kind: str | None = None) -> str:
    """What a reading of that state is."""
    return VERDICTS[key].word_for(kind)


def whole_word(key: str) -> str:
    """What a joint or a check is as a whole."""
    return str(VERDICTS[key].whole or VERDICTS[key].word)


def verdict_word(key: str) -> str:
    """The verdict on paper, where the shape beside it says above or below."""
    return str(VERDICTS[VERDICTS[key].verdict or key].word)


def of_record(state) -> tuple[State, str]:
    """(row, word) of the state of a record; one without a row reads as open."""
    key = str(getattr(state, "value", state))
    row = RECORDS.get(key, RECORDS["open"])
    plain = row.word if key in RECORDS else key.replace("_", " ")
    return row, str(getattr(state, "label", plain))


def fails(key: str) -> bool:
    """Whether a row is one of those that do not conform."""
    return key in VERDICTS and VERDICTS[key].verdict == "does_not_conform"


# What a check is counted by, in this order.
COUNTED = ("conforms", "does_not_conform", "not_proven", NOT_MEASURED)


def counted(numbers: Mapping[str, int]) -> tuple[tuple[str, str, int], ...]:
    """(row, words behind a number, number) of a check, in the order of sheets."""
    return tuple(
        (key, str(VERDICTS[key].many or VERDICTS[key].word), numbers[key])
        for key in COUNTED
    )
