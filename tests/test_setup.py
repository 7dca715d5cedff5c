"""The first start: any supported Python, two starts at once, words for what fails."""

import contextlib
import hashlib
import importlib.util
import io
import json
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from shop.environment import Environment, SetUpError

TREE = Path(__file__).resolve().parent.parent

# What a start does after the set-up, in place of manage.py.
PROBE = """\
import sys
from pathlib import Path
sys.path.insert(0, {tree!r})
from shop import environment
environment.enter(sys.argv, Path({home!r}))
import setup_probe
print("inside", sys.prefix, setup_probe.VALUE, *sys.argv[1:], flush=True)
"""


def load_door():
    """manage.py as a module, without starting anything."""
    spec = importlib.util.spec_from_file_location("door", TREE / "manage.py")
    door = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(door)
    return door


def make_tree(folder):
    """A tree that needs one small wheel, found on the disk: no network is asked."""
    wheel = folder / "setup_probe-1.0-py3-none-any.whl"
    facts = "setup_probe-1.0.dist-info"
    with zipfile.ZipFile(wheel, "w") as archive:
        archive.writestr("setup_probe.py", "VALUE = 41\n")
        name = "Metadata-Version: 2.1\nName: setup-probe\nVersion: 1.0\n"
        archive.writestr(f"{facts}/METADATA", name)
        kind = "Wheel-Version: 1.0\nGenerator: t\nRoot-Is-Purelib: true\n"
        archive.writestr(f"{facts}/WHEEL", f"{kind}Tag: py3-none-any\n")
        archive.writestr(f"{facts}/RECORD", "")
    digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
    tree = folder / "tree with a space"
    (tree / "tests").mkdir(parents=True)
    words = (
        f"--no-index\n--find-links {folder.as_uri()}\n"
        f"setup-probe==1.0 \\\n    --hash=sha256:{digest}\n"
    )
    (tree / "requirements.txt").write_text(words)
    (tree / "tests" / "requirements.txt").write_text(f"{words}# and more\n")
    return tree


@pytest.fixture(scope="module")
def first_start(tmp_path_factory):
    """A tree and what two first starts of it, at once, have said."""
    home = make_tree(tmp_path_factory.mktemp("first"))
    first, second = start(home, "demo", "--port", "1"), start(home, "demo")
    return home, words_of(first), words_of(second)


@pytest.fixture
def home(first_start, tmp_path):
    """A tree of this test alone that has been started before."""
    tree = tmp_path / "another tree"
    shutil.copytree(first_start[0], tree, symlinks=True)
    return tree


def start(home, *arguments):
    """Start the probe as a user starts manage.py, with this system's Python."""
    probe = home / "probe.py"
    probe.write_text(PROBE.format(tree=str(TREE), home=str(home)), encoding="utf-8")
    return subprocess.Popen(
        [sys._base_executable, str(probe), *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def words_of(process):
    words, _ = process.communicate(timeout=120)
    assert process.returncode == 0, words
    return words


def test_two_first_starts_at_once_make_one_environment_and_both_go_on(first_start):
    home, *words = first_start
    ends = [text.splitlines()[-1] for text in words]
    inside = home / ".venv"
    assert ends == [f"inside {inside} 41 demo --port 1", f"inside {inside} 41 demo"]
    made = [text for text in words if "Making a Python environment" in text]
    assert len(made) == 1
    assert "1 packages from requirements.txt" in made[0]
    # And the next start finds it ready: not a word but its own.
    assert words_of(start(home, "demo")) == f"{ends[1]}\n"


def test_a_set_up_that_was_cut_short_is_done_again(home):
    own = Environment(home)
    assert own.is_ready("run") and not own.is_ready("test")
    # Cut short between unpacking and stamping.
    own.stamp("run").unlink()
    next(own.home.rglob("setup_probe.py")).unlink()
    shutil.rmtree(next(own.home.rglob("setup_probe-1.0.dist-info")))
    assert words_of(start(home)).splitlines()[-1].startswith(f"inside {own.home} 41")


def test_ready_for_testing_is_ready_for_running_and_changed_needs_are_noticed(home):
    own = Environment(home)
    own.stamp("run").unlink()
    with quiet():
        own.make_ready("test")
    assert own.is_ready("run") and own.is_ready("test")
    with (home / "requirements.txt").open("a") as file:
        file.write("# changed\n")
    assert not own.is_ready("run") and own.is_ready("test")
    # Another Python than the one that made it: not ready either.
    of_another = own.stamp("test").read_text().replace(" 3.", " 2.")
    own.stamp("test").write_text(of_another)
    assert not own.is_ready("test")


def test_a_broken_environment_is_made_anew(home):
    own = Environment(home)
    own.python.unlink()  # as when the Python it was made with is gone
    said = io.StringIO()
    with contextlib.redirect_stderr(said):
        own.make_ready("run")
    assert "Making a Python environment" in said.getvalue()
    assert own.is_ready("run")


def test_a_package_with_other_bytes_is_refused_and_nothing_is_stamped(home):
    own = Environment(home)
    shutil.rmtree(next(own.home.rglob("setup_probe-1.0.dist-info")))
    file = own.requirements("run")
    file.write_text(re.sub(r"sha256:.{8}", "sha256:00000000", file.read_text()))
    with quiet(), pytest.raises(SetUpError, match="its digest differs"):
        own.make_ready("run")
    assert not own.is_ready("run")


def test_no_network_and_no_wheel_are_told_in_plain_words(home):
    own = Environment(home)
    # Words as pip prints them (pip 23 to 25, copied from its output).
    offline = (
        "WARNING: Retrying (Retry(total=0)) after connection broken by "
        "'NewConnectionError(Failed to establish a new connection)': /simple/django/\n"
        "ERROR: No matching distribution found for django==5.2.19\n"
    )
    told = own._explain(offline, own.requirements("run"))
    assert "first start needs the internet" in told
    told = own._explain("ERROR: No matching distribution found for numpy==2.4.6\n", "r")
    assert "no ready-made package for this system: numpy==2.4.6" in told


@pytest.mark.parametrize("version", [(2, 7), (3, 6), (3, 10), (3, 14), (4, 0)])
def test_another_python_is_refused_in_words(version):
    complaint = load_door().complaint_about(version)
    assert f"this is Python {version[0]}.{version[1]}." in complaint
    assert "Fayline runs on Python 3.11 to 3.13" in complaint


@pytest.mark.parametrize("version", [(3, 11), (3, 12), (3, 13)])
def test_a_supported_python_goes_on(version):
    assert load_door().complaint_about((*version, 1, "final", 0)) is None


def test_the_door_parses_on_python_3_6_so_that_its_words_are_reached():
    import ast

    source = (TREE / "manage.py").read_text(encoding="utf-8")
    ast.parse(source, feature_version=(3, 6))
    assert 'f"' not in source


def test_only_the_demo_gets_a_home_of_its_own():
    door = load_door()
    chosen = {"FAYLINE_HOME": "/data", "DATABASE_URL": "postgres://shop"}
    door.choose_home(["manage.py", "demo", "--reset"], chosen)
    assert chosen == {"FAYLINE_HOME": str(Path("/data/demo"))}
    untouched = {"FAYLINE_HOME": "/data", "DATABASE_URL": "postgres://shop"}
    door.choose_home(["manage.py", "serve"], untouched)
    assert untouched == {"FAYLINE_HOME": "/data", "DATABASE_URL": "postgres://shop"}


def pins(path):
    """{name: (pin with its condition left out, hashes)} of a requirements file."""
    found = {}
    for block in re.split(r"\n(?=[a-z])", path.read_text("utf-8")):
        head = re.match(r"([a-z0-9.-]+)(\[[a-z,]+\])?==(\S+)", block)
        if head:
            hashes = re.findall(r"--hash=sha256:([0-9a-f]{64})", block)
            found[head[1]] = head[3], frozenset(hashes)
    return found


def test_what_tests_need_holds_every_pin_of_what_running_needs():
    running = pins(TREE / "requirements.txt")
    testing = pins(TREE / "tests" / "requirements.txt")
    assert running.items() <= testing.items()
    assert {"django", "hypercorn", "scipy"} <= running.keys()
    assert {"pytest", "playwright"} <= testing.keys() - running.keys()
    assert all(hashes for _, hashes in testing.values())


def test_every_named_requirement_is_pinned():
    for name, pinned in (
        ("requirements.in", "requirements.txt"),
        ("test-requirements.in", "tests/requirements.txt"),
    ):
        lines = (TREE / ".ci" / name).read_text().splitlines()
        wanted = {
            re.match(r"[a-z0-9-]+", line)[0] for line in lines if line[0].isalpha()
        }
        assert wanted and wanted <= pins(TREE / pinned).keys()


def quiet():
    return contextlib.redirect_stderr(io.StringIO())


def test_a_known_fault_of_a_package_fails_and_a_silent_service_is_said():
    """As pip-audit reports (its JSON format): what is found, what it does not know."""
    place = TREE / ".ci" / "audit.py"
    spec = importlib.util.spec_from_file_location("audit", place)
    audit = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(audit)
    fault = {"id": "PYSEC-2026-1", "fix_versions": ["2.1"], "aliases": []}
    bad = {"name": "a", "version": "2.0", "vulns": [fault]}
    good = {"name": "b", "version": "1.0", "vulns": []}
    unknown = {"name": "c", "skip_reason": "Dependency not found on PyPI"}
    report = json.dumps({"dependencies": [bad, good, unknown], "fixes": []})
    lines, code = audit.verdict(report)
    assert code == 1
    assert lines == [
        "2 packages audited.",
        "Not audited: 1 that the service lacks (c).",
        "a 2.0: PYSEC-2026-1, mended in 2.1",
    ]
    report = json.dumps({"dependencies": [good, unknown], "fixes": []})
    assert audit.verdict(report)[1] == 0
    for silent in ("", "Connection refused", "[]"):
        assert audit.verdict(silent) == (
            ["Not audited: the service could not be asked."],
            0,
        )


def chosen(words: str, *before: str) -> subprocess.CompletedProcess:
    """What the functions that .ci/run chooses by answer."""
    script = f". '{TREE}/.ci/environment'; {words}"
    return subprocess.run(
        [*before, "bash", "-c", script], capture_output=True, text=True, check=False
    )


@pytest.mark.skipif(sys.platform == "win32", reason="CI is run by bash")
def test_ci_takes_the_python_of_an_environment_that_is_there_and_of_no_broken_one(
    tmp_path,
):
    before = chosen(f"python_for '{tmp_path}'").stdout.strip()
    assert Path(before).name == "python3"
    python = tmp_path / ".venv" / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.symlink_to(sys.executable)
    assert chosen(f"python_for '{tmp_path}'").stdout.strip() == str(python)
    python.unlink()
    python.symlink_to(tmp_path / "a Python that was taken away")
    assert chosen(f"python_for '{tmp_path}'").stdout.strip() == before


@pytest.mark.skipif(sys.platform == "win32", reason="CI is run by bash")
def test_ci_takes_a_folder_only_where_there_is_room_and_programs_run(tmp_path):
    assert chosen(f"is_roomy '{tmp_path}' 10").returncode == 0
    assert chosen(f"is_roomy '{tmp_path}' 1000000000000").returncode != 0
    assert chosen(f"is_roomy '{tmp_path}/none' 10").returncode != 0
    own_mounts = ["unshare", "--mount", "--map-root-user"]
    still = f"mount -t tmpfs -o noexec none '{tmp_path}'"
    if not shutil.which("unshare") or chosen(still, *own_mounts).returncode:
        pytest.skip("this system lets nobody mount a folder of his own")
    assert chosen(f"{still}; is_roomy '{tmp_path}' 10", *own_mounts).returncode != 0
    executable = still.replace("noexec", "exec")
    assert (
        chosen(f"{executable}; is_roomy '{tmp_path}' 10", *own_mounts).returncode == 0
    )
    assert not list(tmp_path.iterdir())
