"""`manage.py database_rights`: the least that the site needs in PostgreSQL, as SQL."""

import re

from django.core.management.base import BaseCommand, CommandError
from django.db import connection


class Command(BaseCommand):
    help = (
        "Print SQL that lets a role serve the site and own nothing: it adds facts, and "
        "cannot drop, disable or replace a guard, empty a table or make one. Run it as "
        "the owner of the tables after each migrate, then serve with that role in "
        "DATABASE_URL."
    )

    def add_arguments(self, parser):
        parser.add_argument("--role", default="fayline_site", help="its name")

    def handle(self, *, role, **_options):
        from shop.ledger.rights import statements

        if not re.fullmatch(r"[a-z_][a-z0-9_]{0,62}", role):
            raise CommandError("A role is named by small letters, digits and lines.")
        for statement in statements(role, connection.ops.quote_name):
            self.stdout.write(f"{statement};")
