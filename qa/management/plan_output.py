"""A plan as commands tell it: as plain values for programs, and as lines for people."""

from qa.management.known_output import known
from qa.numeric.plan.motions import DIGITS_DEG, DIGITS_MM
from qa.numeric.plan.planner import METHOD
from qa.numeric.plan.result import CANNOT, CUT, FITS, Fit, Move, Plan
from qa.wording.lengths import places_known
from qa.wording.plans import held_name, plan_notes
from shop.wording import states

OUTCOMES = {
    FITS: "It fits by the move above, with nothing cut.",
    CUT: "It fits with the move and the trim above.",
    CANNOT: "It cannot be made to fit as allowed; see the notes above.",
}
OF_WHAT_WAS_MEASURED = {
    FITS: "What was measured fits by the move above, with nothing cut.",
    CUT: "What was measured fits with the move and the trim above.",
    CANNOT: "What was measured cannot be made to fit as allowed; see the notes above.",
}


def as_plain(plan: Plan, options: dict) -> dict:
    """The plan as documented for other programs: mm, mm2 and degrees."""
    plain = {
        "method": METHOD,
        "rule": options["rule"],
        "seat": _fit(plan.seat, "x_mm", "y_mm", "turn_deg"),
        "level": _fit(plan.level, "z_mm", "tilt_x_deg", "tilt_y_deg"),
        "held": list(map(held_name, plan.held)),
        "probability": plan.probability,
        "trim": _trim(plan),
        "flush": [
            {
                "station": station.label,
                "flush_now_mm": rounded(station.flush_now),
                "flush_after_mm": rounded(station.flush_after),
            }
            for station in plan.stations
            if station.flush_now is not None
        ],
        "outcome": plan.outcome,
        "judged": judged(plan),
        "move": whole_move(plan.move),
        "settled": plan.settled,
        "notes": plan_notes(plan),
    }
    if plan.known is not None:
        plain["known"] = known(plan)
    if plan.settings is not None:
        plain["settings"] = plain_settings(plan)
        plain["set"] = _set_only(plan)
    if options.get("motions"):
        plain["motion"] = amounts(plan.move)
        for part, fit in (("seat", plan.seat), ("level", plan.level)):
            if fit:
                plain[part]["motion"] = amounts(fit.move)
        if plan.trim:
            plain["trim"]["motion"] = amounts(plan.trim.move)
    return plain


def judged(plan: Plan) -> dict:
    """Of what the outcome is."""
    return {
        "with_limits": plan.limited,
        "measured": plan.measured,
        "complete": plan.complete,
        "by": "the readings after the exact move, in whole nanometers",
    }


def _fit(fit: Fit | None, *names: str) -> dict | None:
    if fit is None:
        return None
    return {name: judged_amount(name, getattr(fit.move, name)) for name in names} | {
        "worst_before": rounded(fit.worst_before),
        "worst_after": rounded(fit.worst_after),
        "conforms": fit.conforms,
    }


def _set_only(plan: Plan) -> dict:
    """What the settings do with nothing cut."""
    only = plan.set_only
    return {
        "worst_after": rounded(only.worst_after),
        "conforms": only.conforms,
        "probability": only.probability,
        "stations": [
            {
                "station": station.label,
                "gap_after_mm": rounded(gap),
                "flush_after_mm": rounded(flush),
            }
            for station, gap, flush in zip(
                plan.stations, only.gaps, only.flushes, strict=True
            )
        ],
    }


def _trim(plan: Plan) -> dict | None:
    trim = plan.trim
    if trim is None:
        return None
    names = ["x_mm", "y_mm", "turn_deg"]
    if any(name in ("z", "tilt_x", "tilt_y") for name, _ in trim.move.amounts):
        names += ["z_mm", "tilt_x_deg", "tilt_y_deg"]  # planned together
    return {
        "needed": trim.needed,
        "possible": trim.possible,
        **{name: judged_amount(name, getattr(trim.move, name)) for name in names},
        "area_mm2": rounded(trim.area_mm2),
        "build_up_mm2": rounded(trim.build_up_mm2),
        "unresolved_mm2": rounded(trim.unresolved_mm2),
        "stations": [
            {
                "station": station.label,
                "gap_now_mm": rounded(station.gap_now),
                "trim_mm": rounded(station.trim),
                "build_up_mm": rounded(station.build_up),
                "gap_after_mm": rounded(station.gap_after),
                "unresolved_mm": rounded(station.unresolved),
                "next_bite_mm": rounded(station.next_bite),
            }
            for station in plan.stations
            if station.gap_now is not None
        ],
    }


def amounts(move: Move) -> dict:
    return {
        name: judged_amount("mm" if not motion.turns else "deg", amount)
        for (name, amount), motion in zip(move.amounts, move.motions, strict=True)
    }


def whole_move(move: Move) -> dict:
    """The whole move as one rotation about a point, then a shift: what was judged."""
    about, shift, matrix = move.whole()
    return {
        "about_mm": [rounded(v) for v in about],
        "shift_mm": [round(v, DIGITS_MM) + 0.0 for v in shift],
        "rotation": [[round(v, 15) + 0.0 for v in row] for row in matrix],
    }


def fit_lines(plan: Plan) -> list[str]:
    """How gaps and flushness sit, now and by moving."""
    lines = []
    for title, fit in (("Gaps", plan.seat), ("Flushness", plan.level)):
        if fit:
            word = states.word("conforms" if fit.conforms else "does_not_conform")
            lines.append(
                f"{title}: worst deviation now {fit.worst_before:.3f}, by moving alone "
                f"{fit.worst_after:.3f} (1 is the limit): {word}."
            )
    return lines


def text_lines(plan: Plan, half: float | None = None) -> list[str]:
    """The plan for people: the move, a table (see there), what to know, the outcome."""
    lines = fit_lines(plan)
    if plan.settings is None:
        shown = move_words(plan.move, plan.known) or "none, it stays as it is"
        lines.append(f"Move: {shown}.")
    else:
        lines += _settings(plan)
    return [*lines, "", *table(plan, half), "", *end_lines(plan, plan_notes(plan))]


def end_lines(plan: Plan, notes: list[str]) -> list[str]:
    """What comes off in all, what to know, the outcome."""
    lines = []
    if plan.trim and plan.trim.needed:
        trim = plan.trim
        lines.append(
            f"Trim {trim.area_mm2:.1f} mm2, build-up {trim.build_up_mm2:.1f} mm2, left "
            f"unresolved {trim.unresolved_mm2:.1f} mm2."
        )
    if plan.probability is not None:
        chance = f"{plan.probability:.3f}"
        all_of_it = "all conform" if plan.complete else "what was measured conforms"
        lines.append(f"Probability that {all_of_it} after this: {chance}.")
    lines += [f"Note: {note}." for note in notes]
    if plan.complete:
        return [*lines, OUTCOMES[plan.outcome]]
    return [*lines, OF_WHAT_WAS_MEASURED[plan.outcome], "Not everything was measured."]


def move_words(move: Move, known=None) -> str:
    """Every motion that is used in one line, with the digits that are known of it."""
    intervals = {move.name: move for move in (known.moves if known else ())}
    words = []
    for (name, amount), motion in zip(move.amounts, move.motions, strict=True):
        unit = "deg" if motion.turns else "mm"
        if amount and name in intervals:
            interval = intervals[name]
            half = f"{interval.shown:.{interval.digits}f}"
            words.append(
                f"{name} {amount:+z.{interval.digits}f} {unit} (give or take {half})"
            )
        elif amount:
            words.append(f"{name} {amount:+z.3f} {unit}")
    return ", ".join(words)


def _settings(plan: Plan) -> list[str]:
    """What to set, a line for each adjuster that is changed."""
    changed = setting_lines(plan)
    if not changed:
        return ["Leave all adjusters as they are set."]
    return ["Set:", *(f"  {words}" for words in changed)]


def setting_lines(plan) -> list[str]:
    """What to set by a plan, or of a part, in words."""
    return [
        f"{setting.name}: {setting.change:+zg} mm, {abs(setting.steps)} "
        f"{'step' if abs(setting.steps) == 1 else 'steps'} to {setting.to:g} mm"
        for setting in plan.settings
        if setting.steps
    ]


def plain_settings(plan) -> list[dict]:
    return [
        {
            "name": setting.name,
            "steps": setting.steps,
            "change_mm": rounded(setting.change),
        }
        for setting in plan.settings
    ]


def table(plan: Plan, half: float | None = None) -> list[str]:
    """Station by station; what is to be stands in the digits that are known by `half`
    of its interval, mm, as on the page, and in all where nothing is known."""
    heads = ("station", "gap now", "trim", "bite", "build up", "gap after")
    heads += ("left over", "flush now", "flush after")
    rows, to_be = [heads], places_known(half, "mm", {"mm": 3})
    known = {
        (cut.joint, cut.label): cut.digits
        for cut in (plan.known.cuts if plan.known else ())
    }
    for station in plan.stations:
        gap = station.gap_now is not None
        cut = (station.trim, station.next_bite, station.build_up)
        cells = [station.gap_now, *(cut if gap else (None,) * 3), station.gap_after]
        cells += [station.unresolved if gap else None]
        cells += [station.flush_now, station.flush_after]
        gap_to_be, flush_to_be = (
            3 if rounded(now) == rounded(after) else to_be
            for now, after in (cells[0:5:4], cells[6:8])
        )
        cut_to_be = [known.get((station.joint, station.label), to_be)] * 2
        digits = [3, *cut_to_be, to_be, gap_to_be, to_be, 3, flush_to_be]
        pairs = zip(cells, digits, strict=True)
        texts = ("" if v is None else f"{round(v, d) + 0.0:.{d}f}" for v, d in pairs)
        rows.append((station.label, *texts))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            [row[0].ljust(widths[0])]
            + [c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True)]
        ).rstrip()
        for row in rows
    ]


def judged_amount(name: str, amount: float) -> float:
    """An amount with the digits by which it was judged."""
    return round(amount, DIGITS_DEG if name.endswith("deg") else DIGITS_MM) + 0.0


def rounded(value: float | None) -> float | None:
    """To a nanometer (or a millionth): finer digits differ between machines."""
    return None if value is None else round(float(value), 6) + 0.0
