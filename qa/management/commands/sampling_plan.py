"""How many pieces to look at: `sampling_plan --good 0.01 --bad 0.08`. No database."""

from qa.files.answering import a_number, shown
from qa.numeric.measuring.sampling import (
    Plan,
    find_plan,
    operating_curve,
    quality_accepted,
)
from shop.files.command_line import Answer, BadInput, FileCommand

# Shares nonconforming at which the curve is told; those asked about join them.
CURVE = (0.001, 0.0025, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.1, 0.15, 0.2, 0.3)
RARELY, MOSTLY = 0.1, 0.95


class Command(FileCommand):
    help = (
        "The least sample that keeps two risks, and what it protects from: accept when "
        "at most so many in it do not conform (binomial; of a lot, hypergeometric). "
        "Shares between 0 and 1."
    )
    exit_help = "Exit code: 0 answered; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        for name, default, text in (
            ("--good", None, "share nonconforming that should pass"),
            ("--bad", None, "share nonconforming that should not pass"),
            ("--shop-risk", 0.05, "how often the good may be refused (default 0.05)"),
            ("--customer-risk", 0.1, "how often the bad may pass (default 0.1)"),
        ):
            parser.add_argument(
                name,
                metavar="SHARE",
                type=a_number,
                required=default is None,
                default=default,
                help=text,
            )
        parser.add_argument(
            "--lot", type=int, metavar="N", help="pieces in the lot; else a process"
        )

    def answer(self, options):
        good, bad = float(options["good"]), float(options["bad"])
        risks = float(options["shop_risk"]), float(options["customer_risk"])
        try:
            plan = find_plan(good, risks[0], bad, risks[1], lot=options["lot"])
        except ValueError as why:
            raise BadInput(f"sampling_plan: {why}") from why
        shares = sorted({*CURVE, good, bad})
        curve = operating_curve(shares, plan.n, plan.c, lot=options["lot"])
        plain = {
            "n": plan.n,
            "c": plan.c,
            "all_of_it": plan.all_of_it,
            "accepted_when_good": plan.accepted_when_good,
            "accepted_when_bad": plan.accepted_when_bad,
            "curve": [
                {"nonconforming": share, "accepted": accepted}
                for share, accepted in zip(shares, curve, strict=True)
            ],
            "mostly_accepted_below": quality_accepted(MOSTLY, plan.n, plan.c),
            "rarely_accepted_above": quality_accepted(RARELY, plan.n, plan.c),
        }
        return Answer(plain, text_lines(plan, plain))


def text_lines(plan: Plan, plain: dict) -> list[str]:
    """The same for people."""
    first = f"Look at {plan.n}; accept with at most {plan.c} that do not conform."
    if plan.all_of_it:
        first = f"Look at all {plan.n}: nothing less keeps both risks."
    lines = [
        first,
        f"Accepted 95 % of the time at {shown(plain['mostly_accepted_below'])} "
        f"nonconforming, 10 % at {shown(plain['rarely_accepted_above'])} (a process).",
        "",
        f"{'nonconforming':>14}{'accepted':>10}",
    ]
    return lines + [
        f"{point['nonconforming']:>14.4g}{point['accepted']:>10.3f}"
        for point in plain["curve"]
    ]
