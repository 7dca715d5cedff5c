"""Keep the demo of a release for the releases after it: python tests/releases/make.py.

It loads the demo into a home of its own, takes a backup of it and packs that, as
tests/releases/<release>.tar.xz. Run it once, when a release is made, with its sources:
tests/shop/test_upgrade.py carries each of them to the present one ever after.
"""

import os
import sys
import tarfile
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
MOST_BYTES = 1_000_000


def make(place: Path) -> Path:
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)
    from qa import demo
    from shop.serving import backups
    from shop.version import RELEASE

    demo.load()
    made = backups.make(place)
    if made.manifest.faults:
        sys.exit(f"It does not hold: {made.manifest.faults}")
    target = HERE / f"{RELEASE}.tar.xz"
    with tarfile.open(target, "w:xz", preset=9) as archive:
        for part in (made.folder, made.store):
            archive.add(part, part.name, filter=_nobodys)
    if target.stat().st_size > MOST_BYTES:
        sys.exit(f"{target} is larger than {MOST_BYTES} bytes.")
    return target


def _nobodys(one: tarfile.TarInfo) -> tarfile.TarInfo:
    one.uid = one.gid = 0
    one.uname = one.gname = ""
    return one


if __name__ == "__main__":
    sys.path.insert(0, str(HERE.parents[1]))
    with tempfile.TemporaryDirectory() as folder:
        os.environ["FAYLINE_HOME"] = str(Path(folder) / "home")
        os.environ["DJANGO_SETTINGS_MODULE"] = "shop.settings"
        os.environ.pop("DATABASE_URL", None)
        print(make(Path(folder) / "backups"))  # noqa: T201
