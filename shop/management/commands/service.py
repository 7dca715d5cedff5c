"""`manage.py service`: what lets this system start the server by itself."""

import getpass
import os
import sys
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = (
        "Print the file (systemd, launchd) or the script (Windows) that lets this "
        "system start `serve --shop` by itself, with the paths of this computer."
    )
    requires_system_checks = ()

    def add_arguments(self, parser):
        from shop.serving.service_files import PRINTS

        parser.add_argument("--system", choices=PRINTS, help="for another system")
        parser.add_argument("--user", help="who it runs as (default: you)")
        parser.add_argument("--http", type=int, default=8000, metavar="PORT")
        parser.add_argument("--https", type=int, default=8443, metavar="PORT")

    def handle(self, *, system, user, http, https, **_options):
        from shop.serving import service_files

        variables = {
            n: os.environ[n] for n in service_files.PASSED_ON if os.environ.get(n)
        }
        variables["FAYLINE_HOME"] = str(settings.HOME)
        left_out = [n for n in service_files.IN_A_FILE_OF_ITS_OWN if os.environ.get(n)]
        secrets = Path(settings.HOME) / "service.env"
        service = service_files.Service(
            python=Path(sys.executable),
            tree=settings.BASE_DIR,
            options=("--shop", "--http", str(http), "--https", str(https)),
            user=user or getpass.getuser(),
            settings=variables,
            secrets=secrets,
        )
        system = system or service_files.kind_of_system()
        self.stdout.write(service_files.PRINTS[system](service))
        if left_out:
            self.stderr.write(_how_to_add(left_out, secrets, system))
        if system == "linux" and service.user == "root":
            self.stderr.write("Better not as root: name a user with --user.")


def _how_to_add(names: list[str], secrets: Path, system: str) -> str:
    beginning = f"Not printed, for it is secret: {', '.join(names)}. Add it "
    if system == "linux":
        return f"{beginning}to {secrets}, mode 600, a line each as NAME=VALUE."
    return f"{beginning}as the first lines say."
