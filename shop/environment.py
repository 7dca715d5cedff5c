"""The product's own Python environment, `.venv`: made once, then only entered.

Runs before anything is installed, so it knows nothing but the standard library.
An environment is ready when its stamp names the digest of the requirements file
that the command needs and the Python it was made with. The stamp is removed
before anything is changed and written last, so that a set-up cut short at any
instant is done again, and never taken for a whole one.
"""

import contextlib
import hashlib
import importlib.util
import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

TREE = Path(__file__).resolve().parent.parent

# tests/requirements.txt holds every pin of requirements.txt (tests/test_setup.py
# keeps it so): what is ready for testing is ready for running.
REQUIREMENTS = {"run": "requirements.txt", "test": "tests/requirements.txt"}
INCLUDES = {"run": ["run"], "test": ["run", "test"]}

NO_VENV = """\
This Python cannot make environments: its part "venv" is missing.
On Debian and Ubuntu: sudo apt install python3-venv
Then start again."""
NO_NETWORK = """\
The packages could not be fetched: no way to the package index (pypi.org).
The first start needs the internet once; later ones do not.
Check the network (or the proxy settings of pip) and start again."""
WRONG_BYTES = """\
A package that was fetched is not the one that {file} names: its digest differs.
Nothing of it was installed. Start again; if it stays so, something between here
and the package index changes what is fetched: ask who runs the network."""
NO_WHEEL = """\
There is no ready-made package for this system: {what}
README.md names the systems that Fayline runs on."""
NO_ROOM = "The disk is full. The environment takes about 500 MB in {venv}."

# What pip says, and what it means for the person who waits.
SIGNS_OF_NO_NETWORK = (
    "NewConnectionError",
    "Failed to establish a new connection",
    "NameResolutionError",
    "ConnectTimeoutError",
    "ReadTimeoutError",
    "ProxyError",
    "Max retries exceeded",
    "Connection aborted",
)


class SetUpError(Exception):
    """Why the environment could not be made, in words for whoever started it."""


@dataclass(frozen=True)
class Environment:
    """The environment of one tree: where it lies and how to make it ready."""

    tree: Path

    @property
    def home(self):
        return self.tree / ".venv"

    @property
    def python(self):
        if os.name == "nt":
            return self.home / "Scripts" / "python.exe"
        return self.home / "bin" / "python"

    def requirements(self, purpose):
        return self.tree / REQUIREMENTS[purpose]

    def stamp(self, purpose):
        return self.home / f"ready-to-{purpose}"

    def expected_stamp(self, purpose):
        digest = hashlib.sha256(self.requirements(purpose).read_bytes()).hexdigest()
        return f"{digest} {sys.version_info[0]}.{sys.version_info[1]}\n"

    def is_ready(self, purpose):
        try:
            stamp = self.stamp(purpose).read_text(encoding="ascii")
        except (OSError, UnicodeDecodeError):
            return False
        return stamp == self.expected_stamp(purpose) and self.python.exists()

    def is_entered(self):
        """Whether this very process runs inside."""
        with contextlib.suppress(OSError):
            return os.path.samefile(sys.prefix, self.home)
        return False

    def make_ready(self, purpose):
        """Create, repair or bring up to date; a second start waits for the first."""
        with alone(self.tree / ".venv.lock"):
            if self.is_ready(purpose):
                return
            for name in REQUIREMENTS:
                self.stamp(name).unlink(missing_ok=True)
            if not self._works():
                self._create()
            self._install(purpose)
            for name in INCLUDES[purpose]:
                write_whole(self.stamp(name), self.expected_stamp(name))
        tell("Ready.")

    def _works(self):
        """Whether there is an environment of this Python that can install."""
        question = (
            "import sys, pip; print(sys.prefix, *sys.version_info[:2], sep='\\n')"
        )
        try:
            answer = subprocess.run(
                [self.python, "-c", question],
                capture_output=True,
                text=True,
                timeout=60,
                check=True,
            ).stdout.split("\n")
            return os.path.samefile(answer[0], self.home) and answer[1:3] == [
                str(number) for number in sys.version_info[:2]
            ]
        except (OSError, subprocess.SubprocessError):
            return False

    def _create(self):
        if not (importlib.util.find_spec("ensurepip") and has("venv")):
            raise SetUpError(NO_VENV)
        tell(f"Making a Python environment in {self.home} …")
        made = subprocess.run(
            [sys.executable, "-m", "venv", "--clear", self.home],
            capture_output=True,
            text=True,
            check=False,
        )
        if made.returncode:
            words = (made.stdout + made.stderr).strip()
            if "ensurepip" in words:
                raise SetUpError(NO_VENV)
            raise SetUpError(f"The environment could not be made:\n{words}")

    def _install(self, purpose):
        file = self.requirements(purpose)
        total = len(re.findall(r"^[A-Za-z0-9]", file.read_text("utf-8"), re.MULTILINE))
        tell(f"Setting up (once, about a minute): {total} packages from {file.name} …")
        command = [self.python, "-m", "pip", "install", "--require-hashes"]
        command += ["--only-binary=:all:", "--no-input", "--no-color"]
        command += ["--disable-pip-version-check", "--progress-bar=off", "-r", file]
        # Settings that send packages elsewhere would leave the environment empty.
        elsewhere = ("PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT")
        settings = {k: v for k, v in os.environ.items() if k not in elsewhere}
        pip = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env={**settings, "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"},
            encoding="utf-8",
            errors="replace",
        )
        lines = []
        with pip:
            for line in pip.stdout:
                lines.append(line)
                show_progress(line, sum(map(is_package, lines)), total)
        if pip.returncode:
            raise SetUpError(self._explain("".join(lines), file))

    def _explain(self, output, file):
        if "DO NOT MATCH THE HASHES" in output:
            return WRONG_BYTES.format(file=file.name)
        if "No space left on device" in output:
            return NO_ROOM.format(venv=self.home)
        if any(sign in output for sign in SIGNS_OF_NO_NETWORK):
            return NO_NETWORK
        missing = re.search(r"No matching distribution found for (\S+)", output)
        if missing:
            return NO_WHEEL.format(what=missing[1])
        last = "\n".join(output.splitlines()[-15:])
        return f"The packages could not be installed. pip said:\n{last}"


def has(module):
    return importlib.util.find_spec(module) is not None


def is_package(line):
    return line.startswith(("Collecting ", "Requirement already satisfied: "))


def show_progress(line, count, total):
    if is_package(line):
        name = re.sub(r"^(Collecting|Requirement already satisfied:) ", "", line)
        tell(f"  {count:3d}/{total}  {name.split(' ')[0].strip()}")
    elif line.startswith("Installing collected packages"):
        tell("  unpacking them …")


def tell(words):
    try:
        print(words, file=sys.stderr, flush=True)
    except UnicodeEncodeError:  # a Windows console that knows no ellipsis
        print(words.encode("ascii", "replace").decode(), file=sys.stderr, flush=True)


def write_whole(path, text):
    """Write so that the file is there whole or not at all."""
    part = path.with_name(f"{path.name}.{os.getpid()}")
    part.write_text(text, encoding="ascii")
    part.replace(path)


@contextlib.contextmanager
def alone(path):
    """Hold the lock at path; the system frees it however the holder ends."""
    with path.open("a+b") as file:
        warned = False
        while not try_lock(file):
            if not warned:
                tell("Another start is setting up at this moment; waiting for it …")
            warned = True
            time.sleep(0.2)
        yield


def try_lock(file):
    if os.name == "nt":
        import msvcrt  # noqa: PLC0415 -- only there is on Windows

        file.seek(0)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl  # noqa: PLC0415 -- is not there on Windows

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def purpose_of(arguments):
    return "test" if arguments[1:2] == ["test"] else "run"


def enter(arguments, tree=TREE):
    """Return inside the ready environment; from outside, start over inside it."""
    environment = Environment(tree)
    purpose = purpose_of(arguments)
    try:
        if environment.is_entered():
            if environment.is_ready(purpose):
                return
            # Nothing is changed from inside: Windows locks the files in use.
            start_over(Path(sys._base_executable), arguments)
        if not environment.is_ready(purpose):
            environment.make_ready(purpose)
        start_over(environment.python, arguments)
    except SetUpError as error:
        sys.exit(str(error))
    except PermissionError as error:
        sys.exit(f"The environment cannot be made here: {error}")
    except KeyboardInterrupt:
        sys.exit("Stopped. Start again to go on.")


def start_over(python, arguments):
    """Replace this process by the same command under another Python."""
    command = [str(python), os.path.abspath(arguments[0]), *arguments[1:]]
    sys.stdout.flush()
    if os.name != "nt":
        os.execv(python, command)
    # Windows has no exec that keeps the terminal: wait, and pass the code on.
    process = subprocess.Popen(command)
    while True:
        with contextlib.suppress(KeyboardInterrupt):  # is for the child to answer
            sys.exit(process.wait())
