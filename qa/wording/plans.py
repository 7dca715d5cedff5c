"""Codes of a plan in words: why a station stays wrong, what to know, what it comes to.

Reasons and notes are [code, values] as qa.numeric.plan.reasons.recorded makes them and
a FitPlan keeps them: lengths whole nanometers, stations by name.
"""

from collections.abc import Callable, Iterable

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from qa.numeric.plan.reasons import recorded
from qa.numeric.plan.result import Plan, Reason
from qa.wording import lengths

MOST_NAMES = 12

REASONS = {
    "never_cut": gettext_lazy("%(mm)s too tight, and nothing may be cut here"),
    "fairness": gettext_lazy(
        "%(mm)s too tight: the trim may not change so fast along the edge"
    ),
    "may_still_cut": gettext_lazy("%(mm)s more than may still be cut"),
    "greatest_trim": gettext_lazy("%(mm)s more than the greatest trim"),
    "too_wide": gettext_lazy("%(mm)s too wide, and building up is not allowed"),
    "build_up_spent": gettext_lazy("%(mm)s more than may be built up"),
    "step_high": gettext_lazy(
        "%(mm)s proud stays: a step cannot be trimmed away (fill, sand or shim)"
    ),
    "step_low": gettext_lazy(
        "%(mm)s low stays: a step cannot be trimmed away (fill, sand or shim)"
    ),
    "step": gettext_lazy(
        "%(mm)s step stays: a step cannot be trimmed away (fill, sand or shim)"
    ),
    "least_cut": gettext_lazy("%(mm)s would do; %(least)s is what can be told"),
    "too_thin": gettext_lazy(
        "%(mm)s more is wanted, less than can be told (%(least)s): leave it and "
        "measure again"
    ),
}
# Of these the cut of a station is another than the plan's own; nothing stays wrong.
OF_THE_CUT = ("least_cut", "too_thin")

AIMS = {
    "overlap": gettext_lazy(
        "less overlap than %(bound).3f (this plan: %(reached).3f; length x depth in "
        "mm2)"
    ),
    "worst": gettext_lazy(
        "a worst deviation below %(bound).3f (this plan: %(reached).3f; 1 is the limit)"
    ),
    "step": gettext_lazy(
        "less of steps than %(bound).3f (this plan: %(reached).3f; length x height in "
        "mm2)"
    ),
    "unresolved": gettext_lazy(
        "less left over than %(bound).3f (this plan: %(reached).3f; in mm2)"
    ),
    "build_up": gettext_lazy(
        "less build-up than %(bound).3f (this plan: %(reached).3f; in mm2)"
    ),
    "trim": gettext_lazy(
        "less to come off than %(bound).3f (this plan: %(reached).3f; in mm2)"
    ),
}
NOTES = {
    "leave": gettext_lazy("it conforms as it is: leave it"),
    "trifles": gettext_lazy(
        "left out, since less than %(mm)s, what readings are known to, would be gained "
        "by it: %(names)s"
    ),
    "unsettled": gettext_lazy(
        "the plan did not settle: the gaps after the exact turn still change"
    ),
    "proven": gettext_lazy(
        "the best of several starts; proven is that no move gives %(aim)s"
    ),
    "held": gettext_lazy("held still, since no reading sees it: %(names)s"),
    "corner": gettext_lazy(
        "station %(station)s: sliding %(slide)s along a corner of radius %(radius)s "
        "changes the gap by about %(mm)s more than planned"
    ),
    "unmeasured": gettext_lazy(
        "%(kind)s not measured at %(stations)s: outcome and probability say nothing of "
        "it"
    ),
    "settings_few": gettext_lazy(
        "the adjusters set %(count)d of 6 ways to move: in the others the part stays "
        "where it is held, though readings would see it move"
    ),
    "settings_unseen": gettext_lazy(
        "no reading sees what it does, so it stays: %(names)s"
    ),
    "settings_rigid": gettext_lazy(
        "%(adjusters)d adjusters hold %(count)d ways to move: only settings that a "
        "rigid part can make are used, each within %(mm)s of its step"
    ),
    "settings_trifling": gettext_lazy(
        "left as set, since it would change no reading by %(mm)s, what they are known "
        "to: %(names)s"
    ),
    "settings_unproven": gettext_lazy(
        "very many settings come into question, and not all could be ruled out: better "
        "ones may exist"
    ),
    "settings_fair": gettext_lazy(
        "the settings are the best for trims station by station; the trims were then "
        "made fair to each other"
    ),
    "settings_end": gettext_lazy(
        "at the end of its range, and further would do better: %(ends)s"
    ),
    "pre_trim": gettext_lazy(
        "a pre-trim by the least that the parts on %(names)s lost there; nothing was "
        "read of this one, so look before you cut, and stop short where it differs"
    ),
    "blind": "",  # in two numbers, below
    "again": gettext_lazy(
        "take the %(kind)s at station %(station)s again first: %(read)s was read, the "
        "others say %(mm)s, give or take %(wide)s"
    ),
    "again_least": gettext_lazy(
        "no reading stands out; the others bear out least the %(kind)s at station "
        "%(station)s: %(read)s, where they say %(mm)s, give or take %(wide)s"
    ),
    "between": gettext_lazy(
        "between stations, too, the %(kind)s keeps within the limits by the waviness "
        "seen (19 in 20): at worst %(mm)s, near %(stations)s"
    ),
    "between_beyond": gettext_lazy(
        "between stations the %(kind)s may be beyond the limits by the waviness seen "
        "(19 in 20): up to %(mm)s, near %(stations)s; look there"
    ),
    "show": gettext_lazy(
        "the readings hardly see %(names)s: the %(kind)s at %(stations)s would show it"
    ),
}
FREE_MOTIONS = {
    "x": gettext_lazy("sliding along x"),
    "y": gettext_lazy("sliding along y"),
    "z": gettext_lazy("going in or out"),
    "turn": gettext_lazy("turning in the plane"),
    "tilt_x": gettext_lazy("tilting about x"),
    "tilt_y": gettext_lazy("tilting about y"),
}
KINDS = {"gap": gettext_lazy("gap"), "flush": gettext_lazy("flushness")}


# Why there is no ± on a plan that moves or cuts something.
UNKNOWN = {
    "no_uncertainty": gettext_lazy(
        "How well moves and cuts are known cannot be told: nothing is stated of the "
        "uncertainty of these readings."
    ),
    "before": gettext_lazy(
        "How well moves and cuts are known was not kept when this plan was taken."
    ),
    "not_drawn": gettext_lazy(
        "How well moves and cuts are known is not told: there are too many readings, "
        "or they hardly leave a plan."
    ),
}


def known(*, set_u: bool, scatter: bool) -> str:
    """What ± says: where 19 in 20 lie, by what is counted."""
    counted = [_("the uncertainty of the readings")]
    if set_u:
        counted.append(_("how well a step can be set"))
    if scatter:
        counted.append(_("how cuts came out so far"))
    words = _(
        "± is how far off a move or a cut may be, 19 times in 20, by %(counted)s. "
        "Digits that are not known are not shown."
    )
    return words % {"counted": _(" and ").join(counted)}


def shared_errors(zeros: list[tuple[str, int | None]], counted: int, unit: str) -> str:
    """Which part of the errors of readings counts once, by instruments: (code, nm in
    common or None); `counted` nm is the one that the plan goes by."""
    zeros_shown = [
        f"{code} {lengths.not_nothing(nm, unit)}" for code, nm in zeros if nm
    ]
    nothing = [code for code, nm in zeros if nm == 0]
    untold = [code for code, nm in zeros if nm is None]
    lines = []
    if counted and zeros_shown:
        words = _(
            "Readings of one instrument share its zero, gaps one and flushness one: of "
            "the standard uncertainty %(each)s (calibration, temperature, base, by its "
            "budget). That counts once, the rest at each reading anew, in the "
            "probability and in every ±."
        )
        lines.append(words % {"each": ", ".join(zeros_shown)})
        if zeros_shown[1:] or counted != next(nm for _code, nm in zeros if nm):
            words = _("Each has a zero of its own; %(most)s is counted for each.")
            lines.append(words % {"most": lengths.length(counted, unit)})
    else:
        words = _("The probability counts the errors of the readings as independent.")
        lines.append(words)
    if nothing:
        words = _("By the budget of %(names)s its readings share nothing.")
        lines.append(words % {"names": ", ".join(nothing)})
    if untold:
        words = _("No budget of %(names)s says what its readings share.")
        if counted and zeros_shown:
            words = _("Of %(names)s no budget tells it: its count as independent.")
        lines.append(words % {"names": ", ".join(untold)})
    return " ".join(lines)


def reason(code: str, values: dict, unit: str) -> str:
    """Why a station stays wrong, or its cut is another than the plan's own."""
    return REASONS[code] % {
        name: lengths.not_nothing(nm, unit) for name, nm in values.items()
    }


def reasons(of: Iterable, unit: str, but: tuple[str, ...] = ()) -> str:
    """The reasons of a station in one line."""
    sentences = (reason(code, values, unit) for code, values in of if code not in but)
    return "; ".join(sentences)


def note(code: str, values: dict, unit: str) -> str:
    """What a builder should know besides the numbers."""
    texts = {name: _value(name, value, unit) for name, value in values.items()}
    if code == "proven":
        texts["aim"] = AIMS[values["aim"]] % values
    if code == "blind":
        words = ngettext(
            "station %(stations)s has no gap reading, and the move closes it by "
            "%(mm)s: look before you push",
            "stations %(stations)s have no gap reading, and the move closes them by "
            "%(mm)s at most: look before you push",
            len(values["stations"]),
        )
        return words % texts
    return NOTES[code] % texts


def _value(name: str, value, unit: str):
    if name in ("mm", "slide", "read", "wide"):
        return lengths.length(value, unit)
    if name == "radius":
        return lengths.length(value, unit, {"mm": 0, "in": 1}[unit])
    if name == "kind":
        return KINDS[value]
    if name == "names":
        return ", ".join(dict.fromkeys(map(held, value)))
    if name == "ends":
        return named([_end(*end, unit) for end in value], "; ")
    return named(value) if name == "stations" else value


def _end(adjuster: str, nm: int, sign: int, unit: str) -> str:
    """Where an adjuster goes no further, on its own scale."""
    words = _("%(adjuster)s (%(mm)s is its most)")
    if sign < 0:
        words = _("%(adjuster)s (%(mm)s is its least)")
    return words % {"adjuster": adjuster, "mm": lengths.length(nm, unit)}


def named(labels: list[str], between: str = ", ") -> str:
    """Names of stations, the first of very many."""
    names = between.join(labels[:MOST_NAMES])
    if labels[MOST_NAMES:]:
        names = _("%(some)s and %(more)d more") % {
            "some": names,
            "more": len(labels) - MOST_NAMES,
        }
    return names


def held(fit) -> str:
    """A motion in words, by the name that a shop gave it, or where a combination of
    several goes."""
    if isinstance(fit, str):
        return fit
    kind, *vectors = fit
    if kind == "free":
        return ": ".join([*vectors[1:], str(FREE_MOTIONS[vectors[0]])])
    if kind == "alike":
        return _("what moves several parts alike")
    if kind == "sliding":
        return _("sliding along %(axis)s") % {"axis": _vector(vectors[0], 3)}
    words = _("turning about %(point)s") % {"point": _vector(vectors[0], 1)}
    if vectors[1:]:
        words += _(" along %(axis)s") % {"axis": _vector(vectors[1], 3)}
    return words


def held_name(fit) -> str:
    """The same for a program: a motion by its name."""
    if not isinstance(fit, str) and fit[0] == "free":
        return " ".join([*fit[2:], fit[1]])
    return held(fit)


def _vector(values, places: int) -> str:
    return "(" + ", ".join(f"{value:.{places}f}" for value in values) + ")"


def plan_notes(
    plan: Plan, name: Callable[[int, str], str] = lambda _joint, label: label
) -> list[str]:
    """All there is to know of a plan from files, in mm: its notes, and what stays wrong
    at its stations, which `name` calls by joint and label."""

    def as_kept(reason: Reason) -> list:
        return recorded(reason, name)

    texts_by_code = {code: [] for code in NOTES}
    for reason in plan.notes:
        texts_by_code[reason.code].append(note(*as_kept(reason), "mm"))
    blind = texts_by_code.pop("blind")
    wrong = [
        f"station {name(reason.joint, reason.label)}: "
        f"{reasons(map(as_kept, reason.reasons), 'mm')}"
        for reason in plan.stations
        if reason.reasons
    ]
    return [
        *(text for texts in texts_by_code.values() for text in texts),
        *wrong,
        *blind,
    ]
