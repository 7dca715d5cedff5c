"""The walls of the house (DEVELOPERS.md), read from the imports and the templates."""

import ast
import re
import sys
from dataclasses import is_dataclass
from importlib import import_module
from pathlib import Path

import pytest

TREE = Path(__file__).resolve().parent.parent
FLOOR = ["README.md", "DEVELOPERS.md", "manage.py", "requirements.txt"]
FLOOR += ["shop", "qa", "templates", "tests", "pyproject.toml"]


def sources(*folders: str) -> list[Path]:
    return sorted(
        path
        for folder in folders
        for path in (TREE / folder).rglob("*.py")
        if "migrations" not in path.parts
    )


def imports(path: Path, *, top_level_only: bool = False) -> list[str]:
    """Full names of what a file imports, relative imports resolved."""
    tree = ast.parse(path.read_text("utf-8"))
    nodes = tree.body if top_level_only else ast.walk(tree)
    found = []
    for node in nodes:
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = path.relative_to(TREE).with_suffix("").parts
                base = ".".join([*parts[: -node.level], *filter(None, [base])])
            found += [f"{base}.{alias.name}" for alias in node.names]
    return found


def rooms() -> dict[str, set[str]]:
    """What each room may import, itself aside: the table of DEVELOPERS.md, which is the
    one place where it stands."""
    text = (TREE / "DEVELOPERS.md").read_text("utf-8")
    table = text.split("| room | imports |\n|---|---|\n")[1].split("\n\n")[0]
    rows = re.findall(r"^\| `(\w+)` \|(.*)\|$", table, re.M)
    return {room: set(re.findall(r"\w+", arrows)) for room, arrows in rows}


SYNC = ("qa.sync", "qa.fuselage", "qa.scripted", "qa.envelopes", "qa.recovery")
# Modules beside the folders, by the room they belong to; all others are the site's.
ALONE = {
    **dict.fromkeys(("shop.roles", "shop.identifiers", "qa.identifiers"), "roles"),
    **dict.fromkeys(SYNC, "sync"),
    "shop.atomic_files": "ground",
}


def room_of(name: str, known: set[str]) -> str:
    """The room that a module of ours lies in."""
    app, *rest = name.split(".")
    if rest and rest[0] in known:
        return rest[0]
    return ALONE.get(f"{app}.{rest[0]}" if rest else app, "site")


def test_arrows_between_rooms_point_as_the_table_says():
    matrix = rooms()
    folders = {p.name for app in ("shop", "qa") for p in (TREE / app).iterdir()
               if p.is_dir() and any(p.glob("*.py"))}  # fmt: skip
    assert folders - {"migrations"} <= set(matrix)
    guilty, used = [], {room: set() for room in matrix}
    for path in sources("shop", "qa"):
        name = ".".join(path.relative_to(TREE).with_suffix("").parts)
        here = room_of(name, set(matrix))
        for other in imports(path):
            app, *rest = other.split(".")
            if app not in ("shop", "qa") or not rest:
                continue
            there = room_of(other, set(matrix))
            if here == "site":
                continue
            used[here].add(there)
            if there not in {here} | matrix[here]:
                guilty.append(f"{name} -> {other}")
    assert guilty == []
    needless = [f"{room} -> {x}" for room in matrix for x in matrix[room] - used[room]]
    assert needless == []


def test_a_table_of_rooms_has_no_way_round():
    """No room is above and below another: arrows can be put in one order."""
    left = {name: set(arrows) for name, arrows in rooms().items()}
    while left:
        free = [name for name, arrows in left.items() if not arrows & set(left)]
        assert free, f"round and round: {sorted(left)}"
        for name in free:
            del left[name]


@pytest.mark.parametrize(
    ("room", "source"), [("paper", "queries"), ("forms", "actions")]
)
def test_what_is_taken_across_is_only_a_shape(room, source):
    """A paper takes the dataclass that a query fills, a form makes what an act takes;
    neither calls it."""
    guilty = []
    for path in sources(f"shop/{room}", f"qa/{room}"):
        for name in imports(path):
            if not name.startswith((f"shop.{source}.", f"qa.{source}.")):
                continue
            module, word = name.rsplit(".", 1)
            if word.isupper() or is_dataclass(getattr(import_module(module), word)):
                continue
            guilty.append(f"{path.relative_to(TREE)}: {name}")
    assert guilty == []


TRACE = re.compile(r"^\d+\. `((?:shop|qa)/[\w/]+\.py)`: ((?:`\w+`(?:, )?)+)", re.M)


@pytest.mark.parametrize("act", ["A reading", "A plan", "A pull"])
def test_an_act_goes_through_the_house_as_the_trace_says(act):
    """Each function is where DEVELOPERS.md says, each room is entered once, and from
    each the next may be imported: never back up. What stands below the first room is
    called by something that was named before it."""
    text = (TREE / "DEVELOPERS.md").read_text("utf-8")
    trace = TRACE.findall(text.split(f"### {act}")[1].split("\n#")[0])
    assert len(trace) >= 4
    rooms_entered, known = [], {"start_check"}  # the tablet begins a check
    for module, names in trace:
        source = (TREE / module).read_text("utf-8")
        tree = ast.parse(source)
        defined = {
            node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)
        }
        assert set(re.findall(r"\w+", names)) <= defined, module
        room = room_of(module.removesuffix(".py").replace("/", "."), set(rooms()))
        if room not in rooms_entered[-1:]:
            assert room not in rooms_entered
            assert not rooms_entered or room in rooms()[rooms_entered[-1]]
            rooms_entered.append(room)
        called = set(re.findall(r"\w+", names))
        assert len(rooms_entered) == 1 or called <= known, module
        known |= set(re.findall(r"\w+", source))


def test_what_a_view_hides_from_a_traceback_is_there_under_that_name():
    """`sensitive_variables` of a name that a function does not have hides nothing."""
    lost = {
        f"{path.relative_to(TREE)}: {node.name}"
        for path in sources("shop", "qa")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef)
        for mark in node.decorator_list
        if isinstance(mark, ast.Call)
        and ast.unparse(mark.func) == "sensitive_variables"
        for name in mark.args
        if name.value
        not in {word.id for word in ast.walk(node) if isinstance(word, ast.Name)}
    }
    assert lost == set()


def test_modules_and_functions_that_developers_are_pointed_to_are_there():
    """Every `module.py`, and `module.name` with what it defines."""
    text = (TREE / "DEVELOPERS.md").read_text("utf-8")
    folders = ("shop", "qa", "templates", "tests", ".ci")
    files = [path for top in folders for path in (TREE / top).rglob("*.*")]
    there = [f"/{path.relative_to(TREE)}" for path in (*files, *TREE.glob("*.*"))]
    kinds = "py|js|css|html|md|txt"
    named = re.findall(rf"`((?:[\w-]+/)*[\w-]+\.(?:{kinds}))`", text)
    assert {
        name for name in named if not any(x.endswith(f"/{name}") for x in there)
    } == (set())
    lost = set()
    for module, name in re.findall(rf"`([a-z_]+)\.(?!(?:{kinds})`)(\w+)`", text):
        defined = re.compile(rf"^( *(def|class) {name}\b|{name}(: .*)? = )", re.M)
        sources_of = [path for path in files if path.name == f"{module}.py"]
        if not any(defined.search(path.read_text("utf-8")) for path in sources_of):
            lost.add(f"{module}.{name}")
    assert lost == set()


def test_queries_give_no_bytes():
    """Neither a function nor a field of a dataclass: a paper makes them of texts."""
    guilty = []
    for path in sources("shop/queries", "qa/queries"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.returns:
                name, shape = node.name, node.returns
            elif isinstance(node, ast.AnnAssign):
                name, shape = ast.unparse(node.target), node.annotation
            else:
                continue
            if re.search(r"\bbytes\b", ast.unparse(shape)):
                guilty.append(f"{path.relative_to(TREE)}: {name}")
    assert guilty == []


def test_shop_never_imports_qa():
    guilty = {
        str(path.relative_to(TREE)): name
        for path in sources("shop")
        for name in imports(path)
        if name == "qa" or name.startswith("qa.")
    }
    assert guilty == {}


# Functions and files longer than 50 and 400 lines, each with its reason. This list only
# ever gets shorter.
LONG_FUNCTIONS = {
    "qa/demo/joints.py: load": "data: every joint of the demo, one after the other",
    "shop/demo/tools.py: load": "data: every tool of the demo, one after the other",
    "qa/queries/checks/check_sheets.py: sheet_of": "names each field once",
    "qa/queries/plans/work_orders.py: work_order_of": "names each field once",
}
LONG_FILES: dict[str, str] = {}


def test_functions_have_at_most_50_lines():
    long = {
        f"{path.relative_to(TREE)}: {node.name}"
        for path in sources("shop", "qa")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.lineno >= 50
    }
    assert long == set(LONG_FUNCTIONS)


def test_files_have_at_most_400_lines():
    long = {
        str(path.relative_to(TREE))
        for path in sources("shop", "qa")
        if len(path.read_text("utf-8").splitlines()) > 400
    }
    assert long == set(LONG_FILES)


# Factors between units, and parts that a unit is kept in. Where one of them multiplies
# or divides, or is given a name of its own, it is a conversion.
FACTORS = {100, 1_000, 10_000, 1_000_000, 1_000_000_000, 25_400_000}
FACTORS |= {1e-3, 1e-6, 1e-9, 25.4, 645.16, 1.8, 24, 60, 72, 1_440, 3_600, 86_400}
# By definition or convention of foot, inch, knot, pound and mile.
FACTORS |= {304.8, 0.3048, 2.54, 0.0254, 1852, 1.852, 0.45359237, 453.59237}
NAMED = {25.4, 645.16, 273.15, 459.67, 25_400_000, 1_000_000, 1_000_000_000}
NAMED |= {304.8, 0.3048, 2.54, 0.0254, 1852, 0.45359237, 453.59237}
OFFSETS = {273.15, 459.67, 32}
# So small that they are one only beside a name that says its unit: 12 inches, 10 g/kg.
SMALL = {7, 10, 12, 36, 144, 365}
UNIT_SAID = re.compile(
    r"(_|\b)(nm|um|mm2?|cm|in2?|ft|m|mg|g|kg|lb|s|min|h|days?|permille|per_kg|ratio|feet"
    r"|foot|inch(es)?|knots?)\b"
)
# Numbers that look like one and are none: in how many places, and what they are.
NO_CONVERSION = {
    "qa/demo/fairing.py": (4, "holes every 100 mm, and places at 60 mm"),
    "qa/demo/joints.py": (3, "stations every 100 mm, and a length of 1000 mm"),
    "qa/drawing/outline.py": (
        2,
        "as good as nothing, beside the size of what is drawn",
    ),
    "qa/paper/blocks.py": (1, "a drawing is 1000 of its own units wide"),
    "qa/numeric/verdict/acceptance.py": (1, "an even spread has a variance of w²/12"),
    "qa/drawing/projection.py": (
        1,
        "as good as flat, beside the size of what is drawn",
    ),
    "qa/forms/holes.py": (1, "LARGEST: no layout comes near it"),
    "qa/numeric/geometry/outline.py": (1, "as good as nothing, beside the spread"),
    "qa/numeric/plan/adjusters.py": (1, "a move as good as without a bound"),
    "qa/numeric/plan/motions.py": (1, "as good as a turn about the face"),
    "qa/numeric/plan/set_planner.py": (1, "a place as good as without an end"),
    "qa/rules/bites.py": (2, "a bite is rounded down to a hundredth"),
    "shop/files/layers.py": (1, "FURTHEST: no laminate comes near it"),
    "shop/numeric/laminate.py": (1, "hardener is stated in parts per 100 of resin"),
    "shop/queries/tooling.py": (1, "a mark is a sixtieth of the picture wide"),
}


MAKES_A_NUMBER = {"Decimal", "Fraction", "float", "int"}


def number_of(node) -> float | None:
    """The number that a constant says, by itself, signed, or as Decimal("25.4")."""
    if isinstance(node, ast.UnaryOp):
        return number_of(node.operand)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
        base, power = number_of(node.left), number_of(node.right)
        return None if base != 10 or power is None else float(base) ** power
    if isinstance(node, ast.Call) and node.args:
        made = getattr(node.func, "id", "") in MAKES_A_NUMBER
        return number_of(node.args[0]) if made else None
    value = getattr(node, "value", None)
    if isinstance(value, str):
        value = float(value) if re.fullmatch(r"\d+(\.\d+)?(e-?\d+)?", value) else None
    return value if type(value) in (int, float) else None


def first_line(arguments: ast.arguments) -> int:
    return min(node.lineno for node in ast.walk(arguments) if hasattr(node, "lineno"))


def conversions_in(source: str) -> list[int]:
    """Lines of a module where a factor between units is spelled as a number."""
    lines = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp):
            scales = isinstance(node.op, ast.Mult | ast.Div | ast.FloorDiv | ast.Mod)
            sides = {number_of(node.left), number_of(node.right)}
            if sides & (FACTORS if scales else OFFSETS) or (
                scales and sides & SMALL and UNIT_SAID.search(ast.unparse(node))
            ):
                lines.append(node.lineno)
        elif isinstance(node, ast.AugAssign) and number_of(node.value) in FACTORS:
            lines += [node.lineno] * isinstance(node.op, ast.Mult | ast.Div)
        elif isinstance(node, ast.Assign | ast.AnnAssign | ast.keyword):
            bound = getattr(node, "arg", "") in {"min_value", "max_value"}
            lines += [node.lineno] * (number_of(node.value) in NAMED and not bound)
        elif isinstance(node, ast.Dict):
            given = {number_of(value) for value in node.values}
            lines += [node.lineno] * bool(given & NAMED)
        elif isinstance(node, ast.arguments):
            defaults = {number_of(value) for value in node.defaults + node.kw_defaults}
            lines += [first_line(node)] if defaults & (FACTORS | NAMED) else []
        elif isinstance(node, ast.Call) and ast.unparse(node.func) == "divmod":
            lines += [node.lineno] * (number_of(node.args[1]) in FACTORS)
        elif isinstance(node, ast.Call):
            made = getattr(node.func, "id", "") in MAKES_A_NUMBER
            given = {number_of(value) for value in node.args}
            lines += [node.lineno] * bool(given & NAMED and not made)
    return lines


def test_only_units_spell_a_conversion():
    spelled = {
        str(path.relative_to(TREE)): lines
        for path in sources("shop", "qa")
        if path.relative_to(TREE) != Path("shop/numeric/units.py")
        and (lines := conversions_in(path.read_text("utf-8")))
    }
    excused = {name: places for name, (places, _why) in NO_CONVERSION.items()}
    assert {name: len(lines) for name, lines in spelled.items()} == excused, spelled


@pytest.mark.parametrize(
    "line",
    [
        *("mm = nm / 1_000_000", "nm = round(mm * 1e6)", "x = y / 25.4", "IN = 25.4"),
        *("h, m = divmod(t, 60)", "k = c + 273.15", 'mm = Decimal("25.4") * inches'),
        *("s = 1 / 60", "g = mg // 10**3", "t *= 60", 'P = {"in": 25_400_000}'),
        *("def to_mm(nm, per=25.4): ...", "def f(nm, *, per=1_000_000): ..."),
        *("inches = 12 * feet", "share = hardener_per_kg / 10", "c_f = f - 32"),
        *("mm = scaled(length_in, 25.4)", "days = 7 * span_days", "m = h_ft * 0.3048"),
    ],
)
def test_such_a_conversion_would_be_found(line):
    assert conversions_in(line) == [1]


# A factor handed to a filter or a tag of a template; `add` and `slice` scale nothing.
IN_A_TEMPLATE = re.compile(
    r"\|(?!add:|slice:|floatformat:|truncate)\w+:\"?(\d[\d_.]*)\b"
    r"|\{%\s*widthratio\b[^%]*?\s(\d[\d_.]*)\b"
)


def factors_in(template: str) -> list[str]:
    found = (one or other for one, other in IN_A_TEMPLATE.findall(template))
    return [text for text in found if float(text) in FACTORS | NAMED | SMALL]


def test_no_template_spells_a_conversion():
    guilty = {
        str(path.relative_to(TREE)): factors
        for path in (TREE / "templates").rglob("*.html")
        if (factors := factors_in(path.read_text("utf-8")))
    }
    assert guilty == {}


def test_a_conversion_in_a_template_would_be_found():
    for text in ("{{ nm|divide:1000000 }}", "{% widthratio nm 1000000 1 %}"):
        assert factors_in(text) == ["1000000"]
    assert factors_in('{{ digest|slice:":12" }} {{ row|floatformat:2 }}') == []


def test_only_one_script_spells_a_conversion_of_lengths():
    pattern = re.compile(r"\b(1e6|1e-6|1_?000_?000|25_?400_?000|25\.4|254|645\.16)\b")
    guilty = {
        str(path.relative_to(TREE))
        for folder in ("shop/static", "qa/static", "templates")
        for path in (TREE / folder).rglob("*.js")
        if pattern.search(path.read_text("utf-8")) and path.name != "lengths.js"
    }
    # Bytes of a photo and of a store, in MB.
    assert guilty == {
        "qa/static/qa/tablet/screens/tablet_contents.js",
        "qa/static/qa/tablet/state/photo_sending.js",
    }


PURE = {
    *("numpy", "scipy", "math", "statistics", "fractions", "decimal", "itertools"),
    *("functools", "dataclasses", "collections", "enum", "typing", "re", "bisect"),
    *(
        "contextlib",
        "operator",
        "cmath",
        "random",
        "heapq",
        "copy",
        "numbers",
        "abc",
        "__future__",
    ),
}


@pytest.mark.parametrize("app", ["shop", "qa"])
def test_numeric_imports_no_django_no_io_no_clock(app):
    guilty = {
        str(path.relative_to(TREE)): name
        for path in sources(f"{app}/numeric")
        for name in imports(path)
        if name.split(".")[0] not in PURE
        and not name.startswith((f"{app}.numeric", "qa.numeric", "shop.numeric"))
    }
    assert guilty == {}


def test_scipy_is_imported_only_where_a_function_needs_it():
    guilty = [
        str(path.relative_to(TREE))
        for path in sources("shop", "qa")
        if any(
            name.split(".")[0] == "scipy" for name in imports(path, top_level_only=True)
        )
    ]
    assert guilty == []


def test_views_write_no_rows_themselves():
    """Rules live in actions: a view that saves or deletes has grown one."""
    writes = re.compile(r"\.(save|delete|bulk_create|update|create)\(")
    allowed = re.compile(r"(form|session|hashlib|digest|self|GET\.copy)[\w.]*\.\w+\(")
    guilty = {}
    for path in sources("shop/views", "qa/views"):
        lines = path.read_text("utf-8").splitlines()
        found = [
            line.strip()
            for line in lines
            if writes.search(line) and "objects" in line and not allowed.search(line)
        ]
        if found:
            guilty[str(path.relative_to(TREE))] = found
    assert guilty == {}


def test_templates_and_scripts_hold_nothing_inline():
    inline = re.compile(
        r"<style|\sstyle=|\son\w+=\"|<script(?![^>]*\ssrc=)|javascript:", re.I
    )
    guilty = {
        str(path.relative_to(TREE)): match.group()
        for path in (TREE / "templates").rglob("*")
        if path.suffix in (".html", ".svg")
        if (match := inline.search(path.read_text("utf-8")))
    }
    assert guilty == {}


def test_no_tag_of_a_template_is_broken_over_lines():
    """Django then writes it out as it stands, into an address for instance."""
    broken = re.compile(r"{{[^}]*\n[^}]*}}|{%[^%]*\n[^%]*%}")
    guilty = {
        str(path.relative_to(TREE)): match[0]
        for path in (TREE / "templates").rglob("*.*")
        if (match := broken.search(path.read_text("utf-8")))
    }
    assert guilty == {}


def test_a_line_of_a_template_can_be_read_beside_another():
    """Two editors stand side by side at 120 characters."""
    guilty = {
        str(path.relative_to(TREE)): number
        for path in (TREE / "templates").rglob("*.*")
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if len(line) >= 120
    }
    assert guilty == {}


def test_templates_stand_in_folders_named_as_the_views_that_draw_them():
    """Beside them: what the site draws around every page, and sections of several."""
    shared = {"pictures", "sections", "sheet"}
    loose = [
        str(path.relative_to(TREE))
        for app in ("qa", "shop")
        for path in (TREE / "templates" / app).iterdir()
        if path.is_file()
        or path.name not in shared
        and not (TREE / app / "views" / f"{path.name}.py").is_file()
    ]
    assert loose == []


def test_no_page_asks_anything_of_another_site():
    address = re.compile(r"(src|href|url)\s*[=(]\s*[\"']?(https?:)?//", re.I)
    guilty = [
        str(path.relative_to(TREE))
        for folder in ("templates", "shop/static", "qa/static")
        for path in (TREE / folder).rglob("*")
        if path.suffix in (".html", ".css", ".js", ".svg")
        and address.search(path.read_text("utf-8"))
    ]
    assert guilty == []


def test_the_top_level_holds_what_was_agreed():
    import subprocess

    listed = subprocess.run(
        ["git", "ls-files"], cwd=TREE, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} - set(FLOOR) == set()


def test_no_module_has_a_name_that_says_nothing():
    empty = {"utils", "helpers", "common", "services", "managers", "misc"}
    assert [p for p in sources("shop", "qa") if p.stem in empty] == []


def test_the_tests_themselves_run_on_a_supported_python():
    assert (3, 11) <= sys.version_info[:2] <= (3, 13)


def test_no_test_waits_for_the_promise_of_an_async_function():
    """wait_for_function takes it for a yes at once: the wait is none."""
    for path in sources("tests/browser", "tests/faults", "tests/bench"):
        text = path.read_text("utf-8")
        for asked in re.findall(r"wait_for_function\(\s*(f?\"+[^\"]*|\w+)", text):
            if asked.isidentifier():
                asked = re.search(rf"^{asked} = (.*)", text, re.M)[1]
            assert "async" not in asked, f"{path.relative_to(TREE)}: {asked}"


def test_what_no_page_may_hold_is_too_long_to_stand_there_by_chance():
    """Serial numbers, digests and tokens hold any four digits now and then."""
    for path in sources("tests"):
        tree = ast.parse(path.read_text("utf-8"))
        named = {
            node.targets[0].id: node.value
            for node in tree.body
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.NotIn):
                sought = named.get(getattr(node.left, "id", ""), node.left)
                text = str(getattr(sought, "value", ""))
                short = re.fullmatch(r"[0-9a-f]{3,6}", text) and re.search(r"\d", text)
                assert not short, f"{path.relative_to(TREE)}:{node.lineno}: {text}"
