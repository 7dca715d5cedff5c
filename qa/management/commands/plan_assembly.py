"""What to do so that several parts fit each other: `plan_assembly ASSEMBLY.json`."""

from dataclasses import replace
from pathlib import Path

from qa.files import adjusters as adjusters_file
from qa.files import assembly as assembly_file
from qa.files.assembly import AssemblyFile, JointEntry
from qa.files.columns import read_file
from qa.files.command_line import add_judging_arguments, read_joint_files
from qa.management.assembly_output import assembly_lines, plain_assembly
from qa.management.plan_arguments import add_plan_arguments, mm, plan_options
from qa.numeric.plan.assembly import plan_assembly
from qa.numeric.plan.bodies import AssemblyError, Between, Body
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.known import with_doubts
from qa.numeric.plan.motions import NothingSeen
from qa.numeric.plan.planner import METHOD
from qa.numeric.plan.result import NothingToJudge
from qa.numeric.plan.seat import NoFeasibleMotion
from shop.files.command_line import Answer, BadInput, FileCommand, reading_file

EXIT_HELP = (
    "Exit code: 0 all that has limits was measured and conforms, as it is or by moving "
    "parts; 1 the same with trim; 2 not possible as allowed, not all that has limits "
    "was measured, or nothing to judge; 3 bad input. Where no part is fixed, only how "
    "they lie against each other is planned. Lengths in mm, angles in degrees."
)


class Command(FileCommand):
    help = (
        "Seat, level and trim of several parts that share seams; needs no database. "
        "Where an edge is round is said in its file, by no under corner."
    )
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        parser.add_argument("assembly", metavar="ASSEMBLY.json", type=Path)
        super().add_arguments(parser)
        add_judging_arguments(parser)
        add_plan_arguments(parser)

    def answer(self, options):
        chosen = plan_options(options)
        with reading_file(options["assembly"]) as path:
            file = assembly_file.parse(read_file(path))
        parts = [with_adjusters(file, n, options) for n in range(len(file.parts))]
        joints = [between(entry, options) for entry in file.joints]
        try:
            plan = plan_assembly(parts, joints, chosen, drawn=True)
        except NothingToJudge as why:
            plain = {"method": METHOD, "rule": options["rule"]}
            plain |= {"outcome": "nothing to judge", "notes": [str(why)]}
            return Answer(plain, [f"Nothing to judge: {why}."], code=2)
        except AssemblyError as why:
            raise BadInput(f"{options['assembly']}: {where(file, why)}{why}") from why
        except (NothingSeen, NoFeasibleMotion) as why:
            raise BadInput(f"{options['assembly']}: {why}") from why
        pairs = zip(joints, plan.joints, strict=True)
        plan = replace(
            plan,
            joints=tuple(
                with_doubts(joint.measured, chosen, known) for joint, known in pairs
            ),
        )
        plain = plain_assembly(file, plan, options)
        lines = assembly_lines(file, plan, chosen.resolution_mm)
        return Answer(plain, lines, plan.exit_code)


def with_adjusters(file: AssemblyFile, number: int, options: dict) -> Body:
    """A part with the adjusters of the file that it names. Raises BadInput."""
    part = file.parts[number]
    if number not in file.adjusters:
        return part
    name = beside_or_here(options["assembly"].parent, file.adjusters[number])
    with reading_file(name) as path:
        rig = adjusters_file.parse(read_file(path))
    return replace(part, adjusters=rig.adjusters)


def where(file: AssemblyFile, why: AssemblyError) -> str:
    if why.joint is None:
        return ""
    return f"joint {why.joint + 1} ({file.joints[why.joint].joint}): "


def between(entry: JointEntry, options: dict) -> Between:
    """A joint with what was measured at it, from its files. Raises BadInput."""
    beside = options["assembly"].parent
    judged = {name: options[name] for name in ("rule", "uncertainty_mm", "edition")}
    joint, readings = read_joint_files(
        judged
        | {
            "joint": beside_or_here(beside, entry.joint),
            "readings": beside_or_here(beside, entry.readings),
            "open": entry.open,
            "round": False,
            "part": "outside" if entry.outside else "inside",
        }
    )
    gaps = [mm(reading.gap_nm) for reading in readings.readings]
    flushes = [mm(reading.flush_nm) for reading in readings.readings]
    surrounds = (entry.surround,) * len(gaps)
    return Between(Measured(joint.joint, gaps, flushes), entry.part, surrounds)


def beside_or_here(folder: Path, name: str) -> Path:
    """A file beside the assembly; the one in the working folder where only that is."""
    beside = folder / name
    return Path(name) if Path(name).exists() and not beside.exists() else beside
