"""Looks known faults of our packages up: `python3 .ci/audit.py FOLDER` (a scratch one).

A fault that is found fails. Where the service cannot be asked, or knows none of the
packages, that is said in a line, and the rest of the run goes on: a machine without the
internet can build too.
"""

import json
import subprocess
import sys
import venv
from pathlib import Path

TREE = Path(__file__).resolve().parent.parent
TOOLS = TREE / ".ci" / "audit-requirements.txt"
AUDITED = TREE / "requirements.txt"
SECONDS = 300


def verdict(answer: str) -> tuple[list[str], int]:
    """What the report of pip-audit (its JSON) comes to: lines, and 1 where it fails."""
    try:
        packages = json.loads(answer)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return ["Not audited: the service could not be asked."], 0
    faults = [
        f"{one['name']} {one['version']}: {fault['id']}, mended in "
        f"{', '.join(fault.get('fix_versions') or ['no version yet'])}"
        for one in packages
        for fault in one.get("vulns", ())
    ]
    unknown = [one["name"] for one in packages if "skip_reason" in one]
    lines = [f"{len(packages) - len(unknown)} packages audited."]
    if unknown:
        names = ", ".join(unknown[:5]) + (" …" if len(unknown) > 5 else "")
        lines.append(f"Not audited: {len(unknown)} that the service lacks ({names}).")
    return [*lines, *faults], int(bool(faults))


def audit(folder: Path) -> tuple[list[str], int]:
    venv.create(folder, with_pip=True)
    place = folder / "bin"
    install = ["-qq", "--disable-pip-version-check", "--require-hashes", "-r", TOOLS]
    options = ["--require-hashes", "--disable-pip", "--progress-spinner", "off"]
    try:
        subprocess.run(  # noqa: S603 -- what we made ourselves, just above
            [place / "pip", "install", *install], check=True, timeout=SECONDS
        )
        done = subprocess.run(  # noqa: S603
            [place / "pip-audit", "-r", AUDITED, *options, "-f", "json"],
            check=False,
            timeout=SECONDS,
            capture_output=True,
            text=True,
        )
    except (subprocess.SubprocessError, OSError) as why:
        return [f"Not audited: {why}"], 0
    return verdict(done.stdout)


if __name__ == "__main__":
    said, code = audit(Path(sys.argv[1]))
    sys.stdout.write("\n".join([*said, ""]))
    sys.exit(code)
