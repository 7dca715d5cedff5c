"""Which Fayline this is."""

import functools
from pathlib import Path

RELEASE = "2026.11"
GIT = Path(__file__).resolve().parent.parent / ".git"


@functools.cache
def version() -> str:
    """The release, and the commit where the sources are a clone of them."""
    commit = _commit()
    return f"{RELEASE} ({commit[:10]})" if commit else RELEASE


def _commit() -> str:
    """Read it past git, which a shop need not have any more."""
    try:
        head = (GIT / "HEAD").read_text("ascii").strip()
        if not head.startswith("ref: "):
            return head
        name = head.removeprefix("ref: ")
        loose = GIT / name
        if loose.is_file():
            return loose.read_text("ascii").strip()
        for line in (GIT / "packed-refs").read_text("ascii").splitlines():
            if line.endswith(f" {name}"):
                return line.split()[0]
    except (OSError, UnicodeDecodeError):
        pass
    return ""
