"""Judge a fit check from two files: `check_fit JOINT.csv READINGS.csv`. No database."""

from pathlib import Path

from django.conf import settings

from qa.files.command_line import JointCommand, read_joint_files
from qa.files.joint import JointFile
from qa.numeric.verdict.acceptance import Rule, Verdict
from qa.numeric.verdict.report import (
    CHARACTERISTICS,
    NOT_MEASURED,
    CheckReport,
    Outcome,
    Result,
    as_plain,
    judge_check,
)
from qa.wording.findings import sentence
from qa.wording.probabilities import thousandths
from shop.files.command_line import Answer, write_whole
from shop.numeric.units import format_length
from shop.wording import states

EXIT_CODES = {
    Outcome.CONFORMS: 0,
    Outcome.NO_LIMITS: 2,
    Outcome.DOES_NOT_CONFORM: 1,
    Outcome.NOT_PROVEN: 2,
    Outcome.NOT_MEASURED: 2,
}

EXIT_HELP = (
    "Exit code: 0 all that has limits was measured and conforms; 1 something does not "
    "conform; 2 nothing fails, but something is not proven or not measured, or nothing "
    "has limits; 3 bad input."
)

OUTCOMES = {
    Outcome.CONFORMS: "Every characteristic with limits was measured and conforms.",
    Outcome.NO_LIMITS: "Nothing to judge: no limits are stated.",
    Outcome.DOES_NOT_CONFORM: "The joint does not conform.",
    Outcome.NOT_PROVEN: "Nothing fails, but not everything is proven to conform.",
    Outcome.NOT_MEASURED: "Nothing fails, but not everything was measured.",
}


class Command(JointCommand):
    help = "Judge gap and flushness of a joint from two CSV files; needs no database."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument(
            "--pdf", metavar="OUT.pdf", type=Path, help="write the sheet here as well"
        )
        parser.add_argument(
            "--paper", choices=("a4", "letter"), default="a4", help="size of the sheet"
        )

    def answer(self, options):
        joint, report = judged(options)
        if options["pdf"]:
            write_sheet(options, joint, report)
        return Answer(as_plain(report), text_lines(report), EXIT_CODES[report.outcome])


def judged(options: dict) -> tuple[JointFile, CheckReport]:
    """The joint and the judged check that the options name. Raises BadInput."""
    joint, readings = read_joint_files(options)
    report = judge_check(
        joint.labels,
        joint.limits,
        readings.readings,
        rule=options["rule"],
        u_nm=options["uncertainty_mm"],
        edition=options["edition"],
        closed=joint.joint.closed,
    )
    return joint, report


def write_sheet(options: dict, joint: JointFile, report: CheckReport) -> None:
    """Write the inspection sheet as a PDF: whole, or not at all. Raises CannotWrite."""
    # Only those who want paper wait for what makes it.
    from qa.paper import check_sheet, file_sheet

    sheet = file_sheet.sheet(
        joint.joint,
        report,
        name=options["joint"].stem,
        readings_name=options["readings"].stem,
        shop=settings.SHOP_NAME,
    )
    write_whole(options["pdf"], check_sheet.render(sheet, options["paper"]))


def text_lines(report: CheckReport) -> list[str]:
    """The check for people: a table, what does not conform, what to measure again."""
    lines = [_heading(report), "", *_table(report)]
    if report.findings:
        lines += ["", "Does not conform:"]
        lines += [f"  {sentence(report, finding)}" for finding in report.findings]
    for state, title in (
        (Verdict.NOT_PROVEN, "Not proven, measure again:"),
        (NOT_MEASURED, "Not measured:"),
    ):
        where = list(_where(report, state))
        lines += ["", title, *where] if where else []
    counts = ", ".join(
        f"{n} {states.word(state)}" for state, n in report.counts.items()
    )
    return [*lines, "", f"{counts}.", OUTCOMES[report.outcome]]


def _heading(report: CheckReport) -> str:
    seam = "closed" if report.closed else "open"
    if report.rule is Rule.GUARDED:
        rule = f"guarded acceptance (ISO 14253-1:{report.edition})"
    else:
        rule = "simple acceptance"
    known = report.u_nm is not None
    u = f"{format_length(report.u_nm, 'mm')} mm" if known else "not stated"
    count = len(report.stations)
    return f"{count} stations, {seam} seam; {rule}; standard uncertainty {u}."


def _table(report: CheckReport) -> list[str]:
    """Left-aligned words, right-aligned numbers, columns two spaces apart."""
    rows = [["station"]]
    for name in CHARACTERISTICS:
        rows[0] += [f"{name} mm", "verdict", "beyond"]
        rows[0] += ["probability"] if report.u_nm is not None else []
    for station in report.stations:
        row = [station.label]
        for name in CHARACTERISTICS:
            row += _cells(getattr(station, name), report.u_nm is not None)
        rows.append(row)
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    words = [cell in ("station", "verdict") for cell in rows[0]]
    return [
        "  ".join(
            cell.ljust(width) if left else cell.rjust(width)
            for cell, width, left in zip(row, widths, words, strict=True)
        ).rstrip()
        for row in rows
    ]


def _cells(result: Result, with_probability: bool) -> list[str]:
    value = "" if result.value_nm is None else _decimals(result.value_nm)
    judged = result.judged
    beyond = ""
    if judged and judged.deviation_nm:
        sign = "+" if judged.deviation_nm > 0 else ""
        beyond = sign + _decimals(judged.deviation_nm)
    cells = [value, states.word(result.state or ""), beyond]
    if with_probability:
        cells.append(thousandths(judged.probability) if judged else "")
    return cells


def _decimals(nm: int) -> str:
    """At least two decimals, all that there are."""
    whole, _, part = format_length(nm, "mm").partition(".")
    return f"{whole}.{part.ljust(2, '0')}"


def _where(report: CheckReport, state: str):
    for name in CHARACTERISTICS:
        if labels := report.labels_in(state, name):
            yield f"  {name} at {', '.join(labels)}"
