"""What an acceptance rule risks: `acceptance_risk --mean M --sd S --u U --upper L`."""

from dataclasses import asdict

from qa.files.answering import a_number
from qa.numeric.measuring.risk import (
    NormalProcess,
    check_risks,
    global_risks,
    guard_for,
    guarded,
)
from shop.files.command_line import Answer, BadInput, FileCommand


class Command(FileCommand):
    help = (
        "Of all that is made: how much is accepted and does not conform (the "
        "customer's risk), how much conforms and is refused (the shop's), by JCGM "
        "106:2012 for a normal process; and with --wish the guard that keeps the "
        "customer's risk. All lengths in one unit."
    )
    exit_help = "Exit code: 0 answered; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        for name, needed, text in (
            ("--mean", True, "of what is made"),
            ("--sd", True, "standard deviation of what is made"),
            ("--u", True, "standard uncertainty of a reading"),
            ("--lower", False, "limit"),
            ("--upper", False, "limit"),
            ("--guard", False, "guard band in units of 2 u (default 0: simple)"),
            ("--wish", False, "find the guard that keeps the customer's risk at this"),
        ):
            parser.add_argument(
                name, metavar="N", type=a_number, required=needed, help=text
            )
        parser.add_argument(
            "--count",
            type=int,
            default=1,
            metavar="N",
            help="characteristics alike in a check that is accepted when all are",
        )

    def answer(self, options):
        given = {
            name: None if options[name] is None else float(options[name])
            for name in ("mean", "sd", "u", "lower", "upper", "guard", "wish")
        }
        tolerance = given["lower"], given["upper"]
        process = NormalProcess(given["mean"], given["sd"])
        if options["count"] < 1:
            raise BadInput("acceptance_risk: --count must be 1 or more")
        try:
            guard = given["guard"] or 0.0
            if given["wish"] is not None:
                guard = guard_for(process, given["u"], tolerance, given["wish"])
            ends = guarded(tolerance, given["u"], guard)
            risk = global_risks(process, given["u"], tolerance, ends)
            risks = check_risks([risk] * options["count"])
        except ValueError as why:
            raise BadInput(f"acceptance_risk: {why}") from why
        plain = {"guard": guard, "accepted_within": list(ends), **asdict(risks)}
        within = " to ".join("no limit" if end is None else f"{end:g}" for end in ends)
        lines = [
            f"Accepted within {within} (guard {guard:.4g} x 2 u).",
            f"Conforming {risks.conforming:.4%}, accepted {risks.accepted:.4%}.",
            f"Accepted and not conforming (customer's risk): {risks.customer:.4%}.",
            f"Conforming and refused (shop's risk): {risks.shop:.4%}.",
        ]
        return Answer(plain, lines)
