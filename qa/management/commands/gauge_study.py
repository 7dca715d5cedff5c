"""How much a gauge and its users add: `gauge_study FILE.csv [--tolerance T]`."""

from qa.files.answering import ValuesAnswer, ValuesCommand, a_number, pair, shown, span
from qa.files.columns import FileComplaints
from qa.files.measured_values import read_study
from qa.numeric.measuring.gauge import SOURCES, Study, UnevenCells, gauge_study
from qa.wording.measuring import gauge_advice, remark, remarks

PARTS = (
    "repeatability",
    "reproducibility",
    "person",
    "part_x_person",
    "gauge",
    "part",
    "total",
)
INTERVALS = (*PARTS, "share_of_total", "share_of_tolerance")


class Command(ValuesCommand):
    help = (
        "Repeatability and reproducibility of a gauge, by analysis of variance (95 % "
        "bounds by the modified large-sample method) and by average ranges. Every "
        "person measures every part equally often. Columns: part,person,value."
    )

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument(
            "--tolerance",
            metavar="T",
            type=a_number,
            help="width from limit to limit; 6 sd of the gauge are held against it",
        )

    def answer_from(self, data, options):
        file = read_study(data)
        try:
            study = gauge_study(
                file.parts, file.people, file.values, tolerance=options["tolerance"]
            )
        except UnevenCells as why:
            raise FileComplaints(file.uneven(why.cells)) from why
        return ValuesAnswer(as_plain(study), text_lines(study), remark(study.why))


def as_plain(study: Study) -> dict:
    """What was found, as documented for other programs."""
    sd, intervals, ranges = study.sd or {}, study.intervals or {}, study.range_method
    return {
        "anova": [vars(row) for row in study.anova],
        "sd": {name: sd.get(name) for name in PARTS},
        "share_of_total": study.share_of_total,
        "share_of_tolerance": study.share_of_tolerance,
        "distinct_categories": study.distinct_categories,
        "intervals": {name: pair(intervals.get(name)) for name in INTERVALS},
        "range_method": {
            "sd": {name: ranges.sd.get(name) if ranges else None for name in PARTS},
            "share_of_total": ranges and ranges.share_of_total,
            "distinct_categories": ranges and ranges.distinct_categories,
        },
        "advice": gauge_advice(study),
        "notes": remarks(study.notes),
    }


def text_lines(study: Study) -> list[str]:
    """The same for people."""
    lines = [f"{study.parts} parts, {study.people} people, {study.repeats} values each"]
    if study.sd is None:
        return [*lines, gauge_advice(study)]
    lines += ["", f"{'':<16}{'df':>5}{'ss':>12}{'ms':>12}{'F':>10}{'p':>10}"]
    lines += [
        f"{_name(row.source):<16}{row.df:>5}{shown(row.ss):>12}{shown(row.ms):>12}"
        f"{shown(row.f):>10}{shown(row.p, 2):>10}"
        for row in study.anova
        if row.source in SOURCES
    ]
    lines += ["", f"{'':<16}{'sd':>10}  {'95 %':<20}by ranges"]
    ranges = study.range_method
    lines += [
        f"{_name(name):<16}{shown(study.sd[name]):>10}  "
        f"{span(study.intervals.get(name)):<20}{shown(ranges.sd.get(name))}"
        for name in PARTS
    ]
    share = study.intervals.get("share_of_total")
    lines += [
        "",
        f"Gauge of total {shown(study.share_of_total)}  95 %: {span(share)}  by ranges "
        f"{shown(ranges.share_of_total)}",
        f"Groups of parts told apart: {study.distinct_categories or '-'}, by ranges "
        f"{ranges.distinct_categories or '-'}",
        gauge_advice(study),
        *(f"Note: {note}." for note in remarks(study.notes)),
    ]
    return lines


def _name(source: str) -> str:
    return source.replace("_x_", " x ")
