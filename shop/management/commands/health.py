"""`manage.py health`: how the server fares, for a terminal or a program that looks."""

import json
import sys

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = (
        "Say as JSON how disk, database, ledger, log and backups fare; end with 1 "
        "where something needs looking after."
    )
    requires_system_checks = ()

    def handle(self, **_options):
        from shop.queries import server
        from shop.serving import certificates
        from shop.version import version

        served = certificates.served_file()
        if served.exists():
            server.CERTIFICATES.append(served)
        state = server.full_health()
        report = {"version": version(), **server.as_json(state)}
        self.stdout.write(json.dumps(report, indent=1))
        if state.concerns:
            sys.exit(1)
