"""The walls of the house (DEVELOPERS.md), read from the imports and the templates."""

import ast
import re
import sys
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


def test_shop_never_imports_qa():
    guilty = {
        str(path.relative_to(TREE)): name
        for path in sources("shop")
        for name in imports(path)
        if name == "qa" or name.startswith("qa.")
    }
    assert guilty == {}


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
