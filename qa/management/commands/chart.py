"""A control chart of values in order of time: `chart FILE.csv [--rules SOURCE]`."""

from dataclasses import asdict

from qa.files.answering import ValuesAnswer, ValuesCommand, shown
from qa.files.columns import FileComplaints
from qa.files.measured_values import read_values
from qa.numeric.measuring.charts import FEW, Chart, Line, chart
from qa.wording.measuring import RULE_SOURCES, remark, rule

USUAL_RULES = "western_electric"


class Command(ValuesCommand):
    help = (
        "Individuals and moving range, or mean and range (deviation) of subgroups, and "
        "what the run rules say. Columns: value[,subgroup], the rows of a subgroup one "
        "after the other. Points count from 1. Where "
        "subgroups differ in size, center and limits are lists, one for each point, "
        "null where a subgroup of one value has no spread."
    )

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument(
            "--rules",
            metavar="SOURCE",
            type=lambda text: text.lower().replace("-", "_").replace(" ", "_"),
            choices=list(RULE_SOURCES),
            default=USUAL_RULES,
            help="run rules: "
            + "; ".join(f"{k}: {v}" for k, v in RULE_SOURCES.items())
            + f" (default: {USUAL_RULES})",
        )
        parser.add_argument(
            "--spread",
            choices=("range", "deviation"),
            help="of subgroups (default: range up to 10 values)",
        )

    def answer_from(self, data, options):
        file = read_values(data)
        if scattered := file.scattered():
            raise FileComplaints(scattered)
        control_chart = chart(
            file.values,
            file.subgroups,
            rules=options["rules"],
            spread=options["spread"],
        )
        lines = text_lines(control_chart, file.subgroups, options["rules"])
        return ValuesAnswer(as_plain(control_chart), lines, remark(control_chart.why))


def as_plain(control_chart: Chart) -> dict:
    """What was found, as documented for other programs."""
    return {
        "kind": control_chart.kind,
        **_limits(control_chart.places),
        "spread": {
            "kind": control_chart.spread and control_chart.spread.kind,
            **_spread_limits(control_chart),
        },
        "signals": [asdict(signal) for signal in control_chart.signals],
    }


def _limits(line: Line | None) -> dict:
    names = ("center", "lower", "upper")
    if line is None:
        return dict.fromkeys(names)
    if line.even:
        return {name: getattr(line, name)[0] for name in names}
    return {name: list(getattr(line, name)) for name in names}


def _spread_limits(control_chart: Chart) -> dict:
    """Like _limits, of every point above."""
    line = control_chart.spread
    if line is None or control_chart.places.even and line.even:
        return _limits(line)
    points = range(1, len(control_chart.places.points) + 1)
    at = {point: row for row, point in enumerate(control_chart.spread_at)}
    return {
        name: [getattr(line, name)[at[k]] if k in at else None for k in points]
        for name in ("center", "lower", "upper")
    }


def text_lines(control_chart: Chart, subgroups, rules: str) -> list[str]:
    """The same for people."""
    if control_chart.places is None:
        return [control_chart.kind.replace("_", " and ")]
    lines = [_line(control_chart.places), _line(control_chart.spread)]
    labels = list(dict.fromkeys(subgroups or ()))
    for signal in control_chart.signals:
        name = (
            f" ({labels[signal.at - 1]})"
            if labels and "mean" in control_chart.kind
            else ""
        )
        lines.append(f"point {signal.at}{name}: {rule(signal.rule)}")
    lines.append(f"{RULE_SOURCES[rules]}: {len(control_chart.signals) or 'no'} signals")
    if len(control_chart.places.points) < FEW:
        lines.append(f"Note: fewer than {FEW} points: the limits are preliminary.")
    return lines


def _line(line: Line) -> str:
    ends = [
        shown(values[0], 7)
        if len(set(values)) == 1
        else f"{shown(min(values), 7)} to {shown(max(values), 7)} (by size)"
        for values in (line.center, line.lower, line.upper)
    ]
    name = line.kind.replace("_", " ")
    return f"{name}: center {ends[0]}, lower {ends[1]}, upper {ends[2]}"
