"""What to do so that a part fits: `plan_fit JOINT.csv READINGS.csv`. No database."""

from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from qa.files.command_line import JointCommand, read_joint_files
from qa.files.joint import JointFile
from qa.management.plan_arguments import (
    add_motion_arguments,
    add_plan_arguments,
    length_mm,
    mm,
    plain_number,
    plan_options,
)
from qa.management.plan_output import as_plain, text_lines
from qa.management.ways_output import plain_ways, way_lines
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.known import with_known
from qa.numeric.plan.motions import NothingSeen
from qa.numeric.plan.planner import METHOD, plan_joints
from qa.numeric.plan.result import NothingToJudge, Plan, PlanOptions
from qa.numeric.plan.seat import NoFeasibleMotion
from qa.numeric.plan.ways import ways
from qa.queries.plans import edge_templates
from shop.files.command_line import Answer, BadInput, write_whole

EXIT_HELP = (
    "Exit code: 0 all that has limits was measured and conforms, as it is or by "
    "seating and levelling; 1 the same with trim; 2 not possible as allowed (a step "
    "that levelling cannot cure counts), not all that has limits was measured, or "
    "nothing to judge; 3 bad input. Judged after the exact move, in whole nanometers, "
    "as check_fit judges readings. Lengths in mm, angles in degrees."
)

# Files carry no time of issue, and a PDF wants one: the same for all, none printed.
UNDATED = datetime(2000, 1, 1, tzinfo=UTC)

NOTHING_TO_JUDGE = "nothing to judge"


class Command(JointCommand):
    help = "Seat, level and trim of a part from two CSV files; needs no database."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        super().add_arguments(parser)
        add_plan_arguments(parser)
        add_motion_arguments(parser)
        parser.add_argument(
            "--ways",
            action="store_true",
            help="tell of leaving it, setting it, trimming it and both, the least work "
            "that is enough first",
        )
        parser.add_argument(
            "--wish",
            type=plain_number,
            metavar="P",
            help="least probability that all conforms: what conforms less surely is "
            "not left as it is (default: conforming is enough)",
        )
        parser.add_argument(
            "--template",
            type=Path,
            metavar="OUT.pdf",
            help="write the trim template at true size here as well",
        )
        parser.add_argument(
            "--template-line-mm",
            type=length_mm,
            default=1.0,
            metavar="N",
            help="least cut that the template draws a line for; less is told by tags, "
            "for a strip of tape (default 1)",
        )
        parser.add_argument(
            "--paper", choices=("a4", "letter"), default="a4", help="(default a4)"
        )

    def answer(self, options):
        try:
            joint, part, chosen = read(options)
            plan = computed(options, plan_joints, [part], chosen)
            plan = with_known([part], chosen, plan, drawn=True)
            side_by_side = ()
            if options["ways"]:
                side_by_side = computed(options, ways, [part], chosen, options["wish"])
        except NothingToJudge as why:
            return nothing_to_judge(str(why), options)
        unwritten = options["template"] and write_template(options, joint, plan)
        plain = as_plain(plan, options)
        lines = text_lines(plan, chosen.resolution_mm)
        if options["ways"]:
            plain["ways"] = plain_ways(side_by_side)
            lines += ["", *way_lines(side_by_side)]
        notes = (unwritten,) if unwritten else ()
        return Answer(plain, lines, plan.exit_code, notes=notes)


def nothing_to_judge(why: str, options: dict) -> Answer:
    """The answer where nothing that was measured has limits."""
    plain = {"method": METHOD, "rule": options["rule"], "outcome": NOTHING_TO_JUDGE}
    return Answer(plain | {"notes": [why]}, [f"Nothing to judge: {why}."], code=2)


def read(options: dict) -> tuple[JointFile, Measured, PlanOptions]:
    """The joint, what was measured at it, what may be done. Raises BadInput."""
    chosen = plan_options(options)
    if options["wish"] is not None:
        if options["uncertainty_mm"] is None:
            raise BadInput("--wish needs --uncertainty-mm: else nothing is known of it")
        if options["wish"] > 1:
            raise BadInput("--wish: a probability is between 0 and 1")
    file, readings = read_joint_files(options)
    gaps = [mm(reading.gap_nm) for reading in readings.readings]
    flushes = [mm(reading.flush_nm) for reading in readings.readings]
    return file, Measured(file.joint, gaps, flushes), chosen


def computed(options: dict, plan, *given):
    """What `plan` makes of what is given. Raises BadInput, NothingToJudge."""
    try:
        return plan(*given)
    except NothingToJudge:
        raise
    except (NothingSeen, NoFeasibleMotion) as why:
        name = options["readings"] if isinstance(why, NothingSeen) else "plan_fit"
        raise BadInput(f"{name}: {why}") from why


def write_template(options: dict, joint: JointFile, plan: Plan) -> str:
    """Write the trim template of the plan as a PDF, 1:1; returns a note, "" if none.

    A plan that cuts nothing has no template, and nothing is written. Raises BadInput.
    """
    # Only those who want paper wait for what makes it.
    from qa.paper import trim_template

    target, name = options["template"], options["joint"].stem
    drawn = edge_templates.templates(
        joint.joint,
        plan,
        shop=settings.SHOP_NAME,
        number=options["readings"].stem,
        joint_number="",
        joint_name=name,
        names={"part": "fitted part", "surround": "surround"},
        issued_at=UNDATED,
        line_from=options["template_line_mm"],
    )
    if not drawn:
        return f"plan_fit: nothing is to be cut, so that {target} was not written"
    try:
        data = trim_template.render(drawn, options["paper"])
    except ValueError as why:
        raise BadInput(f"{target}: {why}") from why
    write_whole(target, data)
    return ""
