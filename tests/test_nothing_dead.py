"""What nothing uses is taken out: functions, classes, constants, fields of results,
templates, classes and custom properties of styles.

A name counts as used where code or a template of the product says it; a test does not
make a function useful.
"""

import ast
import re
from collections import Counter
from functools import cache
from pathlib import Path

TREE = Path(__file__).resolve().parents[1]
TEMPLATES = TREE / "templates"
# What the frameworks call by name.
CALLED_BY_NAME = re.compile(
    r"(__\w+__|Meta|Media|Command|Migration|handle|ready|add_arguments|create_parser"
    r"|clean\w*|deconstruct|validate|get_help_text|to_python|to_url|prepare_value"
    r"|label_from_instance|process_exception|run_from_argv|get_response_async"
    r"|create_sockets|_get_session_auth_hash|SessionStore|get_model_class"
    r"|create_model_instance|_get_session_from_db|get_user|handleError|emit|\w+Config)"
)
# What tests ask the product for: of the ledger, to hold it against the models; of
# drawings, which pairs of colors must contrast; of words, which codes there are.
ASKED_BY_TESTS = {"projected", "TEXT_ON", "SHAPE_ON", "STATION_REASONS", "PLAN_NOTES"}
# Fields that are read by a name put together of parts, and what only the body of a plan
# keeps, all of it by name.
READ_OTHERWISE = {"cp_interval", "cpk_interval", "pp_interval", "ppk_interval"}
READ_OTHERWISE |= {"flush_before_nm", "gap_deviation_now", "flush_deviation_now"}
# Drawn by Django itself when something fails, or looked up by a file name made there.
BY_ITSELF = {"400.html", "403.html", "403_csrf.html", "404.html", "500.html"}


def files(*patterns: str, folders=("qa", "shop")) -> list[Path]:
    return sorted(
        path
        for folder in folders
        for pattern in patterns
        for path in (TREE / folder).rglob(pattern)
        if "migrations" not in path.parts
    )


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


def docstrings(tree: ast.Module) -> set[int]:
    return {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and node.body
        if isinstance(node.body[0], ast.Expr)
    }


def names_used(path: Path) -> Counter:
    """How often a module says each name: in code, or in a string that is no prose."""
    tree, uses = tree_of(path), Counter()
    prose = docstrings(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            # What is set is not used by that; a name in a class may be.
            uses[node.id] += isinstance(node.ctx, ast.Load)
        elif isinstance(node, ast.Attribute):
            uses[node.attr] += isinstance(node.ctx, ast.Load)
        elif isinstance(node, ast.Constant) and id(node) not in prose:
            uses.update(re.findall(r"[A-Za-z_]\w*", str(node.value)))
    return uses


@cache
def everything_used() -> Counter:
    uses = Counter()
    migrations = [*TREE.glob("*/migrations/*.py")]
    for path in [*files("*.py"), *migrations, TREE / "manage.py"]:
        uses += names_used(path)
    for path in TEMPLATES.rglob("*.*"):
        for tag in re.findall(r"\{[%{].*?[%}]\}", path.read_text("utf-8")):
            uses.update(re.findall(r"[A-Za-z_]\w*", tag))
    return uses


def defined(path: Path):
    """Public functions, classes and methods of a module that no decorator registers."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            calls = [ast.unparse(mark) for mark in node.decorator_list]
            registered = any(
                re.search(r"receiver|check|regist|fixture|handler|^tells|^records", c)
                for c in calls
            )
            if not registered and not CALLED_BY_NAME.fullmatch(node.name):
                yield node.name


def constants(path: Path):
    """Names in capitals that a module sets for itself and others."""
    for node in tree_of(path).body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        targets = [node.target] if isinstance(node, ast.AnnAssign) else targets
        for target in targets:
            if isinstance(target, ast.Name) and target.id.isupper():
                yield target.id


def fields_of_results(path: Path):
    """Fields of dataclasses: what one gives is read by somebody."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ClassDef) and any(
            "dataclass" in ast.unparse(mark) for mark in node.decorator_list
        ):
            for field in node.body:
                if isinstance(field, ast.AnnAssign):
                    yield field.target.id


def dead(names_of, skipped=()) -> set[str]:
    uses = everything_used()
    return {
        f"{path.relative_to(TREE)}: {name}"
        for path in files("*.py")
        if path.name not in skipped
        for name in names_of(path)
        if not uses[name] and name not in ASKED_BY_TESTS
    }


def test_every_function_and_class_is_used_by_the_product():
    assert dead(defined) == set()


def test_every_constant_is_read_by_the_product():
    """Django reads the settings."""
    assert dead(constants, skipped=("settings.py",)) == set()


def test_every_field_of_a_result_is_read_by_the_product():
    names = {name.split(": ")[1] for name in dead(fields_of_results)}
    assert names == READ_OTHERWISE


def test_every_template_is_drawn_or_included():
    texts = [path.read_text("utf-8") for path in files("*.py")]
    texts += [path.read_text("utf-8") for path in TEMPLATES.rglob("*.html")]
    said = set(re.findall(r"[\"']([\w/]+\.(?:html|js|svg))[\"']", "\n".join(texts)))
    there = {str(p.relative_to(TEMPLATES)) for p in TEMPLATES.rglob("*.*")}
    assert there - said - BY_ITSELF == set()


def test_every_class_of_the_styles_is_on_something():
    sheets = files("*.css", folders=("shop/static", "qa/static"))
    styled = {
        name
        for sheet in sheets
        for name in re.findall(
            r"\.([a-z][\w-]*)",
            re.sub(r"/\*.*?\*/|\{[^{}]*\}", "", sheet.read_text(), flags=re.S),
        )
    }
    texts = [path.read_text("utf-8") for path in TEMPLATES.rglob("*.*")]
    texts += [path.read_text("utf-8") for path in files("*.py", "*.js")]
    text = "\n".join(texts)
    said = set(re.findall(r"[a-z][\w-]*", text))
    # A class made of a stem and a value: f"dw-{name}", `s-${state}`, mark-{{ word }}.
    stems = tuple(re.findall(r"\b([a-z]+-)(?=\$?\{|[\"'`])", text))
    assert {name for name in styled - said if not name.startswith(stems)} == set()


def test_every_custom_property_of_the_styles_is_set_and_used():
    texts = [path.read_text("utf-8") for path in files("*.py", "*.js")]
    sheets = [path.read_text("utf-8") for path in files("*.css")]
    elsewhere = set(re.findall(r"--[a-z][\w-]*", "\n".join(texts)))
    set_here = set(re.findall(r"(--[\w-]+)\s*:", "\n".join(sheets)))
    used = set(re.findall(r"var\((--[\w-]+)", "\n".join(sheets)))
    assert set_here - used - elsewhere == set()
    assert used - set_here - elsewhere == set()
