"""The tablet's modules under the test runner of the node that Playwright brings."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from shop.serving.minified import lean

ROOT = Path(__file__).resolve().parents[2]
TABLET = Path("qa/static/qa/tablet")
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
    (tmp_path / TABLET).mkdir(parents=True)
    for path in (ROOT / TABLET).glob("*.js"):
        (tmp_path / TABLET / path.name).write_text(lean(path.read_text()))
    run_node_tests(tmp_path)


def test_nothing_is_written_that_the_minifier_would_call_in_another_order():
    """tdewolff-minify 2.24.12 joins `const a = f(); const { b } = g();` and puts the
    pattern first: g is called before f. It keeps the order when g needs a."""
    taken_apart = re.compile(r"\s*(?:const|let) [\[{]")
    for path in (ROOT / TABLET).glob("*.js"):
        lines = path.read_text().splitlines()
        for number, (first, second) in enumerate(zip(lines, lines[1:], strict=False)):
            plain = re.match(r"\s*(?:const|let) (\w+)", first)
            if plain and taken_apart.match(second):
                named = re.search(rf"\b{plain[1]}\b", second)
                assert named, (path.name, number + 1, first, second)


def test_tablet_modules_import_by_relative_literal_paths_only():
    """The shell serves them side by side under one digest; nothing else is there."""
    for path in (ROOT / TABLET).glob("*.js"):
        for line in path.read_text().splitlines():
            if re.match(r"\s*(import\b|export \{.*\} from)", line):
                assert re.search(r' from "\./[a-z]+\.js";$', line), (path.name, line)
