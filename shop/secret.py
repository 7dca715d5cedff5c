"""The server's secret, and the folder for its owner's eyes only that it lies in."""

import contextlib
import errno
import os
import secrets
import tempfile
from pathlib import Path

from shop.atomic_files import sync_folder, write_durably

SHORTEST = 32


def private_folder(path: Path) -> None:
    """Make a folder, and those above it that lack, so that only its owner may enter.

    One that was there is closed to others only where it holds our secret: FAYLINE_HOME
    may name a folder by mistake that is not ours to close.
    """
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    for folder in reversed(missing):
        folder.mkdir(mode=0o700, exist_ok=True)
    if os.name == "nt" or not (path / "secret.key").is_file():
        return
    now = path.stat()
    if now.st_mode & 0o077 and now.st_uid == os.geteuid():
        # On media that cannot be written it stays as it is.
        with contextlib.suppress(OSError):
            path.chmod(0o700)


def secret_key(path: Path) -> str:
    """Return the secret in `path`; made if absent, for its owner's eyes only.

    It is on disk when this returns: a power cut leaves no empty file behind. Ends the
    program with a word where the file is of no use.
    """
    if not path.exists():
        try:
            _make(path)
        except OSError as why:
            if why.errno not in (errno.EROFS, errno.EACCES, errno.EPERM):
                raise SystemExit(f"No {path} can be made: {why.strerror}.") from None
            # A copy on media that cannot be written is looked at; nobody signs in.
            return secrets.token_urlsafe(64)
    try:
        secret = path.read_text("ascii").strip()
    except (OSError, UnicodeDecodeError) as why:
        raise SystemExit(f"The secret in {path} cannot be read: {why}.") from None
    if len(secret) < SHORTEST:
        raise SystemExit(
            f"The secret in {path} is empty or cut short. Restore that file from a "
            "copy; or remove it: a new one is made, and everybody signs in again."
        )
    return secret


def _make(path: Path) -> None:
    """Write a new secret; of several first starts at once one wins."""
    secret = secrets.token_urlsafe(64).encode()
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        whole = Path(folder) / path.name
        write_durably(whole, secret)
        # Unlike a rename, it refuses to replace what another process made.
        try:
            os.link(whole, path)
        except FileExistsError:
            return
        except OSError:  # a file system without links: FAT, some shares
            write_durably(path, secret)
    sync_folder(path.parent)
