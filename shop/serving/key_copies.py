"""A copy of what nobody but the server may have: its secret and its certificates."""

from pathlib import Path

from django.conf import settings

from shop.atomic_files import write_durably
from shop.secret import private_folder
from shop.serving import certificates


def copy_keys(target: Path) -> None:
    """Copy them from the home, each whole or not at all. Raises OSError."""
    private_folder(target)
    for path in (settings.HOME / "secret.key", *certificates.folder().glob("*")):
        if path.is_file():
            copy = target / path.relative_to(settings.HOME)
            private_folder(copy.parent)
            write_durably(copy, path.read_bytes())
