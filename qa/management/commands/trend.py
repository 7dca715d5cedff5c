"""A value against pull number: `trend FILE.csv --limit L`."""

import argparse
from dataclasses import asdict

from qa.files.answering import ValuesAnswer, ValuesCommand, a_number, shown
from qa.files.measured_values import measured, read_pulls
from qa.numeric.measuring.trend import Trend, trend
from qa.wording.measuring import remark


class Command(ValuesCommand):
    help = (
        "Slope, prediction band, and the pull at which a value is expected to reach a "
        "limit. Columns: pull,value[,break]; a mark under break says that the tool was "
        "repaired before that pull: the line starts at another height there, its slope "
        "is the same. Whole numbers at all pulls from the first marked one on number "
        "stretches: the same number again is no repair. Any other mark is a repair at "
        "its pull, whatever stood before. Key breaks: the pulls before which a repair "
        "was counted; one before the first pull tells nothing."
    )

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("--limit", metavar="L", type=a_number, required=True)
        parser.add_argument(
            "--level",
            metavar="P",
            type=a_number,
            default=0.95,
            help="of the band and the bounds (default 0.95)",
        )
        parser.add_argument(
            "--at",
            metavar="PULLS",
            type=some_numbers,
            default=[],
            help="foresee these pulls too: 40,60",
        )

    def answer_from(self, data, options):
        file = read_pulls(data)
        fitted = trend(
            file.pulls,
            file.values,
            options["limit"],
            breaks=file.breaks,
            level=float(options["level"]),
            at=options["at"],
        )
        lines = text_lines(fitted, options["level"])
        return ValuesAnswer(as_plain(fitted), lines, remark(fitted.why))


def some_numbers(text: str) -> list:
    """The type of an option that is a list of numbers."""
    try:
        return [measured(part.strip()) for part in text.split(",")]
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why


def as_plain(fitted: Trend) -> dict:
    """What was found, as documented for other programs."""
    return {
        "slope": fitted.slope,
        "slope_se": fitted.slope_se,
        "intercept": fitted.intercept,
        "sd": fitted.sd,
        "r2": fitted.r2,
        "p_slope": fitted.p_slope,
        "reaches": fitted.reaches and asdict(fitted.reaches),
        "prediction": [asdict(point) for point in fitted.prediction],
        "breaks": [*fitted.breaks],
    }


def text_lines(line: Trend, level) -> list[str]:
    """The same for people."""
    pulls = ", ".join(shown(pull, 6) for pull in line.breaks)
    counted = [f"A break before pull {pulls}."] if line.breaks else []
    if line.slope is None:
        return [f"n {line.n}", *counted]
    course = remark(line.course)
    lines = [
        f"n {line.n}  slope {shown(line.slope)} (se {shown(line.slope_se)}, "
        f"p {shown(line.p_slope, 2)})  intercept {shown(line.intercept)}  "
        f"sd {shown(line.sd)}  r2 {shown(line.r2)}",
        f"{course[0].upper()}{course[1:]}.",
        *counted,
    ]
    lines += ["", f"Band and bounds at {float(level):.4g}:"]
    lines += [f"{'pull':>8}{'value':>12}{'low':>12}{'high':>12}"]
    return lines + [
        f"{shown(point.pull, 6):>8}{shown(point.value):>12}{shown(point.low):>12}"
        f"{shown(point.high):>12}"
        for point in line.prediction
    ]
