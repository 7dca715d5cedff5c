"""One table of states, and words made in one place: held by reading the sources."""

import ast
import re
from pathlib import Path

import pytest
from django.db import models

from qa.models import InstrumentStatus, Outcome, PlanEnding, State, Verdict
from qa.numeric.plan import result
from qa.numeric.verdict import report
from qa.wording import measuring, plans, tablet
from shop.models import CureState, LotState, PartState, PullState, ToolState
from shop.numeric import cure_window
from shop.wording import cures, states
from shop.wording.shapes import SHAPES

TREE = Path(__file__).resolve().parent.parent
RECORDS = [LotState, PartState, PullState, ToolState, State, PlanEnding]
RECORDS += [InstrumentStatus]
TABLES = {**states.VERDICTS, **states.TABLET, **states.RECORDS}


def test_every_verdict_and_outcome_has_a_row():
    verdicts = {str(one) for one in (*Verdict, *report.Outcome)}
    verdicts -= {"no_limits"}  # the row of no limits is ""
    verdicts |= {Outcome.SKIPPED.value, "above", "below", "stale", ""}
    assert verdicts <= set(states.VERDICTS)
    assert {str(one) for one in cure_window.Outcome} == set(states.CURES)
    assert {one.value for one in CureState} == set(states.CURES)


@pytest.mark.parametrize("enum", RECORDS)
def test_every_state_of_a_record_has_a_row_with_its_word(enum):
    told = {one.value: str(one.label) for one in enum}
    assert told == {key: str(states.RECORDS[key].word) for key in told}


def test_every_model_with_a_state_is_one_of_these():
    """A field called `state` or `status` takes its choices from a tabled enum."""
    from django.apps import apps

    known = {tuple(one.values) for one in [*RECORDS, CureState, Verdict]}
    known.add(("open", "finished"))
    loose = [
        f"{model.__name__}.{field.name}"
        for model in apps.get_models()
        if model.__module__.split(".")[0] in ("shop", "qa")
        for field in model._meta.concrete_fields
        if field.name in ("state", "status", "verdict")
        and isinstance(field, models.CharField)
        and field.choices
        and tuple(value for value, _ in field.flatchoices if value) not in known
    ]
    assert loose == ["Confirmation.verdict"]  # of a person: proven, claimed


def test_rows_refer_to_shapes_and_colors_that_there_are():
    tokens = (TREE / "shop/static/shop/tokens.css").read_text("utf-8")
    for row in (*TABLES.values(), *states.CURES.values()):
        assert row.shape_name in SHAPES
        for name in (row.fill, row.line, row.sign):
            assert name == "none" or f"--{name}:" in tokens
        assert f".fill-{row.fill} " in tokens
        assert f".line-{row.line} " in tokens
        assert f".line-{row.sign} " in tokens


def test_what_is_told_apart_differs_without_color():
    """Rows that a person may meet on one page differ in shape, word or dash."""
    looks = [(row.shape_name, row.dash, row.fill) for row in states.VERDICTS.values()]
    assert len(set(looks)) == len(looks)


def test_the_tablet_has_the_table_that_there_is():
    """Every row that a tablet can meet, the worse of two as everywhere; and its file,
    where the tablet has one, is what `manage.py tablet_verdicts` writes."""
    told = tablet.rows()
    assert set(told) == set(states.VERDICTS | states.TABLET) - {"stale"}
    for key, row in told.items():
        assert f'word: "{row.word}", shape: "{row.shape_name}"' in tablet.javascript()
        assert key in tablet.javascript()
    if TABLET.exists():
        assert TABLET.read_text("utf-8") == tablet.javascript()


def test_the_tablets_stylesheet_has_the_looks_that_there_are():
    """Every state that a tablet can meet, in the colors and dashes of the table, and
    none of them styled again elsewhere in the sheet."""
    sheet = (TREE / "qa/static/qa/tablet.css").read_text("utf-8")
    assert sheet == tablet.with_styles(sheet)
    made = tablet.styles()
    by_hand = sheet.replace(made, "")
    for key, row in tablet.rows().items():
        assert re.search(rf"\.s-{key}[ ,]", made)
        assert f"fill: {'none' if row.fill == 'none' else f'var(--{row.fill})'}" in made
        assert not re.search(rf"\.[sn]-{key}[ ,:{{]", by_hand)
        assert row.line == "ink" or f'.reading[data-state="{key}"]' not in by_hand


# ------------------------------------------------- no other module holds such a table

HOME = TREE / "shop/wording/states.py"
TABLET = TREE / "qa/static/qa/tablet/core/verdicts.js"
WORDS = {
    str(text)
    for key, row in states.VERDICTS.items()
    for text in (row.word, row.gap, row.flush)
    if text and " " in str(text)
}


def sources(*endings: str) -> list[Path]:
    return [
        path
        for folder in ("shop", "qa", "templates")
        for path in sorted((TREE / folder).rglob("*"))
        if path.suffix in endings
        and path not in (HOME, TABLET)
        and "migrations" not in path.parts
        and "demo" not in path.parts
    ]


def tables_in(path: Path) -> list[str]:
    """Words of states, and mappings from states to text, in a module."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Constant) and node.value in WORDS:
            found.append(f"{path.name}:{node.lineno}: {node.value!r}")
        if isinstance(node, ast.Dict):
            keys = {one.value for one in node.keys if isinstance(one, ast.Constant)}
            text = [
                one
                for one in node.values
                if isinstance(one, ast.Constant) and isinstance(one.value, str)
            ]
            if len(keys & set(states.VERDICTS)) > 1 and len(text) > 1:
                found.append(f"{path.name}:{node.lineno}: a table of states")
    return found


def test_no_other_python_module_has_words_or_shapes_of_states():
    assert [line for path in sources(".py") for line in tables_in(path)] == []


def test_no_template_or_script_has_words_of_states():
    quoted = re.compile("[\"'`](" + "|".join(map(re.escape, sorted(WORDS))) + ")[\"'`]")
    assert [
        f"{path.name}: {match[1]}"
        for path in sources(".html", ".js")
        for match in quoted.finditer(path.read_text("utf-8"))
    ] == []


def test_such_a_table_would_be_found(tmp_path):
    path = tmp_path / "more.py"
    path.write_text('A = {"conforms": "ok", "stale": "old"}\nB = "not proven"\n')
    assert len(tables_in(path)) == 2


# ------------------------------------------------------- no sentence in the numbers

# Errors are sentences to whoever calls; these make the text of one.
TEXT_OF_ERRORS = {"_right_way", "_complaints_of", "_why_not"}
ERROR_TEXT = {"text", "what", "field"}
# Published values by name, with where they are from and how well that was read.
PUBLISHED = {
    *("CONFLICT", "_SET", "CRITICALS", "ROOM_ONLY", "STANDARD_SPRING_GRIP"),
    *("SPACING_RULES", "_TEXTBOOK", "_SHOP", "EXPANSIONS"),
    *("PAPERS", "SHEETS"),  # sizes by their names
}


def sentences_in(path: Path) -> list[str]:
    """Strings with a space in a module of numbers that are no docstring, are not in the
    text of an error, and are no published value's source."""
    tree = ast.parse(path.read_text("utf-8"))
    excused: set[int] = set()

    def excuse(node):
        excused.update(map(id, ast.walk(node)))

    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            excuse(node)  # a docstring
        if isinstance(node, ast.Raise):
            excuse(node)
        if isinstance(node, ast.FunctionDef):
            texts = {
                name.id
                for one in ast.walk(node)
                if isinstance(one, ast.Raise) or _makes_an_error(one)
                for name in ast.walk(one)
                if isinstance(name, ast.Name)
            }
            for one in ast.walk(node):
                if _makes_an_error(one) or _assigned(one) & texts & ERROR_TEXT:
                    excuse(one)
            if node.name in TEXT_OF_ERRORS:
                excuse(node)
    for node in tree.body:
        if _assigned(node) & PUBLISHED:
            excuse(node)
    return [
        f"{path.name}:{node.lineno}: {node.value!r}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and " " in node.value.strip()
        and id(node) not in excused
    ]


def _assigned(node) -> set[str]:
    """Names that a statement gives a value to."""
    targets = node.targets if isinstance(node, ast.Assign) else []
    return {one.id for one in targets if isinstance(one, ast.Name)}


def _makes_an_error(node) -> bool:
    name = getattr(getattr(node, "func", None), "id", "")
    return name.endswith(("Error", "Complaint")) or name == "finite"


@pytest.mark.parametrize("app", ["shop", "qa"])
def test_numbers_return_codes_and_values_never_sentences(app):
    files = sorted((TREE / app / "numeric").rglob("*.py"))
    assert [line for path in files for line in sentences_in(path)] == []


def test_a_sentence_among_the_numbers_would_be_found(tmp_path):
    path = tmp_path / "more.py"
    path.write_text(
        '"""What it is."""\ndef f(x):\n    """Says."""\n    if x:\n'
        '        raise ValueError(f"{x} is bad")\n    return f"{x} mm too tight"\n'
    )
    assert len(sentences_in(path)) == 1


def test_every_code_of_the_numbers_has_words():
    """Codes are the first argument of Reason, Why and Remark, and of lists that a plan
    keeps."""
    made = {"Reason": set(), "Why": set(), "Remark": set()}
    for path in TREE.glob("*/numeric/**/*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            name = getattr(getattr(node, "func", None), "id", "")
            if name in made:
                made[name] |= {
                    one.value
                    for one in ast.walk(node.args[0])
                    if isinstance(one, ast.Constant) and isinstance(one.value, str)
                }
            if name == "NoCurve":
                made["Remark"].add(node.args[0].value)
    assert made["Why"] == set(cures.WHY)
    assert made["Remark"] == set(measuring.REMARKS)
    assert set(result.PLAN_NOTES) == set(plans.NOTES)
    assert made["Reason"] <= set(result.PLAN_NOTES)
    words = set(result.STATION_REASONS) | set(plans.OF_THE_CUT)
    assert words == set(plans.REASONS)
    source = (TREE / "qa/numeric/plan/reasons.py").read_text("utf-8")
    assert {one for one in result.STATION_REASONS if f'"{one}"' not in source} == set()


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_reason_and_note_is_told_in_the_readers_unit(unit):
    values = {"mm": 250_000, "least": 100_000, "slide": 1_000_000, "radius": 30_000_000}
    values |= {"station": "4", "stations": ["4", "5"], "kind": "gap", "names": ["x"]}
    values |= {"aim": "trim", "bound": 1.0, "reached": 2.0}
    values |= {"count": 3, "adjusters": 7, "read": 1_500_000, "wide": 20_000}
    values |= {"ends": [["latch", 500_000, 1], ["hinge", 0, -1]]}
    length = {"mm": "0.25 mm", "in": "0.0098 in"}[unit]
    for code in plans.REASONS:
        told = plans.reason(code, {"mm": 250_000, "least": 100_000}, unit)
        assert length in told
    for code in plans.NOTES:
        told = plans.note(code, values, unit)
        assert told
        assert "%" not in told
        assert unit == "mm" or " mm" not in told.replace(" mm2", "")


def test_nothing_reads_a_number_out_of_a_sentence():
    """A pattern that looks for a number and its unit, in Python or in a script."""
    pattern = re.compile(r"(\\d|\[0-9\])[^\n]{0,20}[ )](mm|in|°)\b[^\n]{0,6}[\"'/]")
    guilty = [
        f"{path.name}: {line.strip()}"
        for path in sources(".py", ".js")
        for line in path.read_text("utf-8").splitlines()
        if re.search(r"re\.|RegExp|\.match|\.exec|\.replace\(/", line)
        and pattern.search(line)
    ]
    assert guilty == []
