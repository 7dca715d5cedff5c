"""`manage.py let_in`: somebody who is locked out, at the server's own terminal."""

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Let somebody try to sign in again at once, without a second factor: the last "
        "lead, who can ask nobody, having lost device and recovery codes. The password "
        "stays as it is; it is on record."
    )

    def add_arguments(self, parser):
        parser.add_argument("username", help="sign-in name")

    def handle(self, *, username, **_options):
        from shop.actions.second_factor import let_in_from_the_terminal
        from shop.actions.signing_in import named

        person = named(username)
        if person is None:
            raise CommandError(f"Nobody signs in as {username}.")
        let_in_from_the_terminal(person=person)
        self.stdout.write(f"{person.name} can sign in with the password alone now.")
