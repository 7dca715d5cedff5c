"""A gauge's uncertainty from its parts: `uncertainty_budget FILE.csv`. No database."""

from qa.files.answering import ValuesAnswer, ValuesCommand, a_number, shown
from qa.files.uncertainty_budget import read_budget
from qa.numeric.measuring.budget import combine


class Command(ValuesCommand):
    help = (
        "Combined standard uncertainty, effective degrees of freedom and expanded "
        "uncertainty (JCGM 100:2008). Columns: name,value,kind[,k][,df][,doubt]; kind "
        "is standard, resolution (a whole step), half_width (rectangular) or "
        "certificate (an expanded uncertainty, with its k). doubt is how well the "
        "value itself is known, 0.25 for 25 %, where df is not."
    )

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument(
            "--level", metavar="P", type=a_number, default=0.95, help="(default 0.95)"
        )

    def answer_from(self, data, options):
        rows = read_budget(data)
        combined = combine(rows, float(options["level"]))
        plain = {
            "u": combined.u,
            "df": combined.df,
            "k": combined.k,
            "expanded": combined.expanded,
            "guard_k": combined.guard_k,
            "judged_by": combined.judged,
            "contributions": [
                {"name": part.name, "u": part.u, "df": part.df, "share": share}
                for part, share in zip(rows, combined.shares, strict=True)
            ],
        }
        widest = max(len(part.name) for part in rows)
        lines = [
            f"{part.name.ljust(widest)}  u {shown(part.u)}  {share:6.1%}"
            for part, share in zip(rows, combined.shares, strict=True)
        ]
        df = "without end" if combined.df is None else shown(combined.df, 3)
        lines += [
            "",
            f"u {shown(combined.u)}, degrees of freedom {df}, k "
            f"{shown(combined.k, 3)}, expanded {shown(combined.expanded)} "
            f"at {float(options['level']):.4g}.",
            f"A guard of 95 % at a limit is k {shown(combined.guard_k, 3)} of u: "
            f"judged by {shown(combined.judged)}.",
        ]
        return ValuesAnswer(plain, lines)
