"""Files that outlive a power cut."""

import os
import tempfile
from pathlib import Path


def write_durably(path: Path, data: bytes) -> None:
    """Write a file for its owner only, whole or not at all, on disk when this returns.

    Raises OSError (a full disk, say), and then leaves nothing behind.
    """
    # mkstemp makes the file with mode 0600 from its first instant.
    handle, part = tempfile.mkstemp(dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError:
        os.unlink(part)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to disk; Windows does this by itself."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
