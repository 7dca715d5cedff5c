"""`manage.py first_lead`: who leads the shop, asked once at the server's terminal."""

import getpass
import sys

from django.core.management.base import BaseCommand, CommandError

from shop.serving import database


class Command(BaseCommand):
    help = "Make the first account of a new shop: its lead, who adds everybody else."

    def add_arguments(self, parser):
        parser.add_argument("--name", help="full name, as it stands on records")
        parser.add_argument("--username", help="sign-in name")
        parser.add_argument(
            "--password-from-input",
            action="store_true",
            help="take the password from the first line of standard input",
        )

    def handle(self, *, name, username, password_from_input, **_options):
        from shop.actions.people import add_first_lead
        from shop.ledger import Refused

        database.prepare(self.stdout.write)
        try:
            person_fields = {
                "name": name or input("Full name: "),
                "username": username or input("Sign-in name: "),
                "password": ask_password(password_from_input),
            }
        except EOFError:
            raise CommandError("Nothing more was typed; nobody was added.") from None
        check(person_fields)
        try:
            person = add_first_lead(**person_fields)
        except Refused as refused:
            raise CommandError(refused.message) from None
        self.stdout.write(f"{person.name} can sign in as {person.username} now.")


def ask_password(from_input: bool) -> str:
    if from_input:
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("Password: ")
    if getpass.getpass("Once more: ") != first:
        raise CommandError("The two are not the same.")
    return first


def check(person_fields: dict) -> None:
    """Ask of the first account what the people page asks of every other."""
    from shop.forms.people import PersonForm
    from shop.models import Person

    # Somebody who is there already, where an export was imported without passwords.
    there = Person.objects.filter(username=person_fields["username"]).first()
    form = PersonForm({**person_fields, "role": "lead"}, instance=there)
    if not form.is_valid():
        words = [
            f"{form.fields[field].label}: {problem}"
            if field in form.fields
            else problem
            for field, problems in form.errors.items()
            for problem in problems
        ]
        raise CommandError("\n".join(map(str, words)))
