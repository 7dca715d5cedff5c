"""What a line asks of a module or a class of ours is there, and what a function is
called with by name it takes: Python finds out only when the line runs.

Left alone: names that a function or a class sets for itself, and what is asked of
anything that is no module, class or function by the time the module is imported.
"""

import ast
import importlib
import inspect
from functools import cache
from pathlib import Path
from types import FunctionType, ModuleType

TREE = Path(__file__).resolve().parents[1]
SCOPES = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda, ast.ClassDef)
COMPREHENSIONS = (ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp)


def sources() -> list[Path]:
    """Of the product and of the tests."""
    product = [path for top in ("qa", "shop") for path in (TREE / top).rglob("*.py")]
    tests = (TREE / "tests").rglob("*.py")
    paths = [path for path in [*product, *tests] if "migrations" not in path.parts]
    return sorted(path for path in paths if "published" not in path.parts)


@cache
def names_set(scope) -> set[str]:
    """Names that a function, a class or a comprehension sets for itself."""
    names = set()
    for node in ast.walk(scope):
        if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            names.add(node.id)
        elif isinstance(node, ast.arg):
            names.add(node.arg)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            names |= {(name.asname or name.name).split(".")[0] for name in node.names}
        elif isinstance(node, (*SCOPES, ast.ExceptHandler)) and node is not scope:
            names.add(getattr(node, "name", None))
    return names


def in_their_scopes(tree):
    """Nodes of a module, each with the scopes around it that are not the module's."""
    around = [(tree, ())]
    while around:
        node, scopes = around.pop()
        if isinstance(node, (*SCOPES, *COMPREHENSIONS)):
            scopes = (*scopes, node)
        yield node, scopes
        around.extend((child, scopes) for child in ast.iter_child_nodes(node))


def meant(node, module, scopes):
    """What a name, or names with dots between, stand for; None: not known here."""
    if isinstance(node, ast.Name):
        value = getattr(module, node.id, None)
        if is_ours(value) and not any(node.id in names_set(scope) for scope in scopes):
            return value
    if isinstance(node, ast.Attribute):
        holder = meant(node.value, module, scopes)
        if isinstance(holder, ModuleType | type):
            return getattr(holder, node.attr, None)
    return None


def is_ours(value) -> bool:
    if not isinstance(value, ModuleType | FunctionType | type):
        return False
    name = value.__name__ if isinstance(value, ModuleType) else value.__module__
    return name.split(".")[0] in ("qa", "shop", "tests")


def is_there(holder, name) -> bool:
    if hasattr(holder, name):
        return True
    # What a dataclass only declares is there once it is made.
    bases = getattr(holder, "__mro__", ())
    return any(name in base.__dict__.get("__annotations__", ()) for base in bases)


@cache
def takes(callee) -> frozenset | None:
    """The names that it can be called with; None: any."""
    if not is_ours(callee) or isinstance(callee, ModuleType):
        return None
    if isinstance(callee, type) and not hasattr(callee, "__dataclass_fields__"):
        return None
    kinds = inspect.signature(callee).parameters.values()
    if any(parameter.kind is parameter.VAR_KEYWORD for parameter in kinds):
        return None
    return frozenset(parameter.name for parameter in kinds)


def wrong_in(tree, module) -> list[str]:
    return [
        f"line {node.lineno}: {ast.unparse(asked)} {what}"
        for node, scopes in in_their_scopes(tree)
        for asked, what in wrong_with(node, module, scopes)
    ]


def wrong_with(node, module, scopes):
    if isinstance(node, ast.Attribute):
        holder = meant(node.value, module, scopes)
        known = isinstance(holder, ModuleType | type)
        if known and not is_there(holder, node.attr):
            yield node, "is not there"
    elif isinstance(node, ast.Call):
        callee = meant(node.func, module, scopes)
        if isinstance(callee, ModuleType):
            yield node.func, "is a module"
        known = takes(callee) if isinstance(callee, FunctionType | type) else None
        for keyword in node.keywords:
            if known is not None and keyword.arg and keyword.arg not in known:
                yield node.func, f"does not take {keyword.arg}"


def test_what_a_line_asks_for_is_there():
    wrong = {}
    for path in sources():
        where = path.relative_to(TREE)
        module = importlib.import_module(".".join(where.with_suffix("").parts))
        if found := wrong_in(ast.parse(path.read_text("utf-8")), module):
            wrong[where.as_posix()] = found
    assert wrong == {}


def test_what_is_not_there_is_found():
    module = ModuleType("of_the_test")
    module.walls, module.wrong_in = importlib.import_module(__name__), wrong_in
    text = """walls.nothing
walls.TREE.nothing
wrong_in(tree, modul=None)
wrong_in(tree, module=None)
walls(tree)
def own(walls): return walls.nothing
"""
    assert sorted(wrong_in(ast.parse(text), module)) == [
        "line 1: walls.nothing is not there",
        "line 3: wrong_in does not take modul",
        "line 5: walls is a module",
    ]
