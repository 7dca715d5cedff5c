"""How values lie in their limits: `capability FILE.csv --lower L --upper U`."""

from dataclasses import asdict

from qa.files.answering import ValuesAnswer, ValuesCommand, a_number, pair, shown, span
from qa.files.columns import FileComplaints
from qa.files.measured_values import read_values
from qa.numeric.measuring.capability import Capability, capability
from qa.numeric.measuring.exact import LEVEL
from qa.numeric.measuring.proportion import Seen
from qa.numeric.measuring.spread import ESTIMATORS
from qa.wording.measuring import remark, remarks
from shop.numeric.units import PERCENT

INDICES = ("cp", "cpk", "pp", "ppk")


class Command(ValuesCommand):
    help = (
        "Cp, Cpk, Pp and Ppk with 95 % bounds, and the share expected outside, of "
        "values in order of time. Columns: value[,subgroup], the rows of a subgroup "
        "one after the other. outside_seen are the values that lie outside and what "
        "share of all that may mean, bounds by Clopper and Pearson (of none the upper "
        "one alone); outside is what the distribution named under method expects, null "
        "where that is less than so many values can show."
    )

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("--lower", metavar="L", type=a_number, help="lower limit")
        parser.add_argument("--upper", metavar="U", type=a_number, help="upper limit")
        parser.add_argument(
            "--within",
            choices=ESTIMATORS,
            help="deviation within subgroups by mean range, mean deviation or pooled "
            "(default); without subgroups it is by moving range",
        )

    def answer_from(self, data, options):
        file = read_values(data)
        if again := file.scattered():
            raise FileComplaints(again)
        estimate = capability(
            file.values,
            options["lower"],
            options["upper"],
            subgroups=file.subgroups,
            how=options["within"],
        )
        return ValuesAnswer(
            as_plain(estimate), text_lines(estimate), remark(estimate.why)
        )


def as_plain(result: Capability) -> dict:
    """What was found, as documented for other programs."""
    test = result.normality
    intervals = (f"{name}_interval" for name in INDICES)
    return {
        "n": result.n,
        "mean": result.mean,
        "sd_overall": result.sd_overall,
        "sd_within": result.sd_within,
        **{name: getattr(result, name) for name in INDICES},
        **{name: pair(getattr(result, name)) for name in intervals},
        "outside": {"below": result.below, "above": result.above},
        "outside_seen": {
            "below": result.seen_below and asdict(result.seen_below),
            "above": result.seen_above and asdict(result.seen_above),
            "method": "clopper_pearson",
            "level": LEVEL,
        },
        "normality": {
            "test": test and test.test,
            "statistic": test and test.statistic,
            "p": test and test.p,
        },
        "method": result.method,
        "notes": remarks([*result.notes, *([result.why] if result.why else ())]),
    }


def text_lines(result: Capability) -> list[str]:
    """The same for people."""
    lines = [
        f"n {result.n}  mean {shown(result.mean, 7)}  "
        f"sd overall {shown(result.sd_overall)}  within {shown(result.sd_within)}"
    ]
    if result.normality:
        verdict = "normal" if result.method == "normal" else "not normal"
        p = result.normality.p
        lines.append(f"Anderson-Darling: p {shown(p, 2)}, taken as {verdict}")
    if result.method:
        lines += [
            f"{name.capitalize():<4} {shown(getattr(result, name)):>7}   95 %: "
            f"{span(getattr(result, f'{name}_interval'))}"
            for name in INDICES
        ]
        below, above = _share(result.below), _share(result.above)
        lines.append(f"Expected outside: below {below}, above {above}")
    below, above = _seen(result.seen_below, result), _seen(result.seen_above, result)
    lines.append(f"Seen outside: below {below}, above {above}")
    return [*lines, *(f"Note: {note}." for note in remarks(result.notes))]


def _seen(seen: Seen | None, result: Capability) -> str:
    if seen is None:
        return "-"
    bounds = f"{_share(seen.low)} to {_share(seen.high)}"
    return f"{seen.count} of {result.n} (95 %: {bounds} of all)"


def _share(share: float | None) -> str:
    return "-" if share is None else f"{shown(PERCENT * share, 3)} %"
