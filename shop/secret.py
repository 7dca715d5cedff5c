"""The server's secret: made at the first start, kept out of the repository."""

import os
import secrets
from pathlib import Path


def secret_key(path: Path) -> str:
    """Return the secret in `path`; made if absent, for its owner's eyes only."""
    try:
        return path.read_text("ascii")
    except FileNotFoundError:
        secret = secrets.token_urlsafe(64)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:  # another process of the same first start won
            return path.read_text("ascii")
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secret)
        return secret
