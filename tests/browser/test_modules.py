"""The tablet's pure modules under node's own test runner; the node is the one that Playwright brings."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TABLET = ROOT / "qa" / "static" / "qa" / "tablet"
MOST_SCRIPT_BYTES = 60 * 1024


def node():
    """Path of the node inside the Playwright package."""
    driver = pytest.importorskip("playwright._impl._driver")
    return driver.compute_driver_executable()[0]


def test_the_tablet_modules_pass_their_own_tests():
    files = sorted(str(path) for path in (ROOT / "tests/browser/js").glob("*.test.js"))
    done = subprocess.run(
        [node(), "--test", *files],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    passed = re.search(r"^\S* ?pass (\d+)$", done.stdout, re.MULTILINE)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert passed and int(passed[1]) >= len(files)


def test_all_scripts_of_the_tablet_weigh_under_60_kb():
    weights = {path.name: path.stat().st_size for path in TABLET.glob("*.js")}
    assert weights
    assert sum(weights.values()) < MOST_SCRIPT_BYTES, weights


def test_tablet_modules_import_by_relative_literal_paths_only():
    """The hashed static storage rewrites only these; anything else would be a 404."""
    for path in TABLET.glob("*.js"):
        for line in path.read_text().splitlines():
            if re.match(r"\s*(import|export .* from)\b", line):
                assert re.search(r' from "\./[a-z]+\.js";$', line), (path.name, line)
