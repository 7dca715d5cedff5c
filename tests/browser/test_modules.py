"""The tablet's modules under the test runner of the node that Playwright brings."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from shop.serving.minified import minify_script

ROOT = Path(__file__).resolve().parents[2]
TABLET = Path("qa/static/qa/tablet")
STYLES = Path("qa/static/qa/tablet.css")
TESTS, VECTORS = Path("tests/browser/js"), Path("tests/qa/vectors")


def run_node_tests(root: Path) -> None:
    driver = pytest.importorskip("playwright._impl._driver")
    node = driver.compute_driver_executable()[0]
    files = sorted(str(path) for path in (root / TESTS).glob("*.test.js"))
    done = subprocess.run(
        [node, "--test", *files],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    passed = re.search(r"^\S* ?pass (\d+)$", done.stdout, re.MULTILINE)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert passed and int(passed[1]) >= len(files)


def test_the_tablet_modules_pass_their_own_tests():
    run_node_tests(ROOT)


def test_the_tablet_modules_pass_them_as_they_are_served_too(tmp_path):
    shutil.copytree(ROOT / TESTS, tmp_path / TESTS)
    shutil.copytree(ROOT / VECTORS, tmp_path / VECTORS)
    for path in modules():
        copy = tmp_path / path.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_text(minify_script(path.read_text()))
    run_node_tests(tmp_path)


DECLARED = re.compile(r"^\s*(?:const|let) (\{.*?\}|\w+) = (.*)$")


def moved_before(source: str) -> list[str]:
    """Declarations that the minifier would move: it puts `const {a} = ...` before the
    plain names that stand right before it, unless its value begins with one of them."""
    found, names = [], []
    for line in source.splitlines():
        declared = DECLARED.match(line)
        if not declared and not line.strip().startswith("//"):
            names = []
        elif declared and declared[1].startswith("{"):
            first = re.match(r"\w*", declared[2])[0]
            works = re.search(r"[(!]|\bawait\b", declared[2])
            if names and works and first not in names:
                found.append(line)
        elif declared:
            names.append(declared[1])
    return found


def test_no_declaration_waits_for_one_that_the_minifier_puts_after_it():
    minify = pytest.importorskip("minify", reason="no wheel here: served as written")
    source = (
        "const one = now();\nconst { a } = later();\nconst b = 1;\ntell(one, a, b);"
    )
    served = minify.string("text/javascript", f"function f() {{ {source} }}")
    if served.index("later") > served.index("now"):
        pytest.fail("The minifier keeps the order now: this test can go.")
    assert moved_before(source) == ["const { a } = later();"]
    moved = {path.name: moved_before(path.read_text()) for path in modules()}
    assert not {name: lines for name, lines in moved.items() if lines}


def test_a_short_name_is_never_put_where_the_name_is_a_text_or_of_another_module():
    pytest.importorskip("minify", reason="no wheel here: served as written")
    served = minify_script(
        """import { carry as c } from "./other.js";
function word(x) { return `a ${x ? `b ${word(x)} word` : ""} of ${c(x)}`; }
function carry(x) { return c(x); }
function quoted(x) { return 'Said "quoted" of ' + x; }
function item(x) { return `${x} in ${item(`${x}`)}`; }
export const all = [word, carry, quoted, item];
"""
    )
    assert "b ${word(e)} word`" in served
    assert "{carry as c}" in served
    assert """'Said "quoted" of '""" in served
    assert "item" not in served  # That is a name and nothing else.


def test_nothing_is_written_that_the_minifier_would_call_in_another_order():
    """tdewolff-minify 2.24.12 joins `const a = f(); const { b } = g();` and puts the
    pattern first: g is called before f. It keeps the order when g needs a, but does
    not see a need inside of an object: `g({ b: a })`."""
    taken_apart = re.compile(r"\s*(?:const|let) [\[{]")
    for path in modules():
        lines = path.read_text().splitlines()
        for number, (first, second) in enumerate(zip(lines, lines[1:], strict=False)):
            plain = re.match(r"\s*(?:const|let) (\w+)", first)
            if plain and taken_apart.match(second):
                made_of = second.partition("} = ")[2] or second.partition("] = ")[2]
                named = re.search(rf"\b{plain[1]}\b[^{{]*$", made_of.split("{")[0])
                assert named, (path.name, number + 1, first, second)


# Layer of the tablet: what it may import, and what it may name of the browser. `core`
# is pure; `state` is handed its store and its network and speaks to no page.
LAYERS = {
    "core": ({"core"}, r"document|window|navigator|location|history|localStorage"
             r"|sessionStorage|indexedDB|IDB\w+|fetch|setTimeout|setInterval|Date\.now"),
    "state": ({"core", "state"}, r"document|window|navigator|location|history"
              r"|localStorage|sessionStorage|IDB\w+|BroadcastChannel|HTML\w+"),
    "screens": ({"core", "state", "screens"}, r"localStorage"),
}  # fmt: skip
IMPORT = re.compile(r'^(?:import|export) .*from "(\.\.?)/(?:(\w+)/)?(\w+)\.js";$')
MOST_LINES = 60


def modules() -> list[Path]:
    return sorted((ROOT / TABLET).rglob("*.js"))


def without_comments(source: str) -> str:
    return re.sub(r"^\s*//.*$", "", source, flags=re.MULTILINE)


def test_every_module_of_the_tablet_lies_in_one_of_three_layers():
    assert {path.parent.name for path in modules()} == set(LAYERS)
    names = [path.name for path in modules()]
    # later.js finds a module by its name alone.
    assert len(names) == len(set(names))


def test_tablet_modules_import_by_literal_paths_and_only_towards_the_core():
    """The shell serves them under one digest; nothing else is there."""
    for path in modules():
        layer = path.parent.name
        for line in path.read_text().splitlines():
            if re.match(r"\s*(import\b|export \{.*\} from)", line):
                found = IMPORT.match(line)
                assert found, (path.name, line)
                up, other, name = found.groups()
                assert (up == "..") == bool(other), (path.name, line)
                assert (other or layer) in LAYERS[layer][0], (path.name, line)
                there = ROOT / TABLET / (other or layer) / f"{name}.js"
                assert there.exists(), (path.name, line)
        dynamic = re.findall(r"\bimport\(", path.read_text())
        assert not dynamic or path.name == "later.js", path.name


def test_no_layer_of_the_tablet_names_what_it_must_be_handed():
    for path in modules():
        source = without_comments(path.read_text())
        source = re.sub(r'"(?:[^"\\]|\\.)*"', '""', source)
        for name in re.finditer(
            rf"(?<![\w.])(?:{LAYERS[path.parent.name][1]})\b", source
        ):
            line = source[: name.start()].count("\n") + 1
            # A parameter of its own is handed to it.
            handed = re.search(rf"\(([^()]*\b)?{name[0]}\b[^()]*\) (?:\{{|=>)", source)
            assert handed, (path.name, line, name[0])


def functions_of(source: str):
    """(first line, number of lines) of every function, by its indentation."""
    lines = source.splitlines()
    opens = re.compile(
        r"^( *)(?:.*\bfunction\b.*|.*=>|(?!.*\b(?:if|for|while|switch|catch|class)\b)"
        r"(?:(?:async|static|get|set|\*) ?)*[\w$]+\(.*\)) \{$"
    )
    for number, line in enumerate(lines):
        if found := opens.match(line):
            end = next(
                at
                for at in range(number + 1, len(lines))
                if re.match(rf"{found[1]}\S", lines[at])
            )
            yield line.strip(), end - number + 1


def test_no_function_of_the_tablet_is_longer_than_60_lines():
    lengths = {
        (path.name, line): length
        for path in modules()
        for line, length in functions_of(path.read_text())
    }
    assert len(lengths) > 150
    assert {at: n for at, n in lengths.items() if n > MOST_LINES} == {}


def test_no_style_of_the_tablet_is_for_nothing():
    """A class is named whole, or its state is put behind `s-` or `n-`."""
    styles = re.sub(r"/\*.*?\*/", "", (ROOT / STYLES).read_text(), flags=re.DOTALL)
    selectors = re.sub(r"\{[^{}]*\}", "{}", styles)
    named = "".join(path.read_text() for path in modules())
    named += "".join(
        path.read_text() for path in (ROOT / "templates/qa/tablet").glob("*.html")
    )
    dead = {
        name
        for name in re.findall(r"\.([a-zA-Z][\w-]*)", selectors)
        if not re.search(rf"(?<![\w-]){re.sub('^[sn]-', '', name)}(?![\w-])", named)
    }
    assert len(selectors) > 2000
    assert dead == set()


def test_nothing_is_exported_that_no_other_module_and_no_test_uses():
    sources = {path: without_comments(path.read_text()) for path in modules()}
    tests = "".join(path.read_text() for path in (ROOT / TESTS).glob("*.js"))
    dead = [
        (path.name, name)
        for path, source in sources.items()
        for name in re.findall(
            r"^export (?:async )?(?:const|let|function|class) (\w+)",
            source,
            re.MULTILINE,
        )
        if not any(
            re.search(rf"\b{name}\b", other)
            for elsewhere, other in sources.items()
            if elsewhere != path
        )
        and not re.search(rf"\b{name}\b", tests)
    ]
    assert dead == []
