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
        found = combine(rows, float(options["level"]))
        plain = {
            "u": found.u,
            "df": found.df,
            "k": found.k,
            "expanded": found.expanded,
            "contributions": [
                {"name": one.name, "u": one.u, "df": one.df, "share": share}
                for one, share in zip(rows, found.shares, strict=True)
            ],
        }
        widest = max(len(one.name) for one in rows)
        lines = [
            f"{one.name.ljust(widest)}  u {shown(one.u)}  {share:6.1%}"
            for one, share in zip(rows, found.shares, strict=True)
        ]
        df = "without end" if found.df is None else shown(found.df, 3)
        lines += [
            "",
            f"u {shown(found.u)}, degrees of freedom {df}, k {shown(found.k, 3)}, "
            f"expanded {shown(found.expanded)} at {float(options['level']):.4g}.",
        ]
        return ValuesAnswer(plain, lines)
