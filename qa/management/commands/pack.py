"""`pack AIRFRAME --out PACK.pdf --by NAME`: issue an inspection pack and write it."""

import os
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from qa import press
from qa.actions.packs import order_pack
from qa.models import Joint, PackOrder
from qa.rules import kept_packs
from shop.ledger import Refused, sealer
from shop.models import Airframe, Person
from shop.queries.identity import the_shop
from shop.serving import database


class Command(BaseCommand):
    help = "Issue an inspection pack of an airframe, or of one joint on it."

    def add_arguments(self, parser):
        parser.add_argument("airframe", help="its serial")
        parser.add_argument("--joint", help="the number of one joint")
        parser.add_argument("--out", required=True, type=Path, metavar="PACK.pdf")
        parser.add_argument("--paper", choices=["a4", "letter"])
        parser.add_argument("--by", required=True, help="sign-in name or full name")
        parser.add_argument(
            "--address",
            default="",
            help="where others reach the site, for the code on each page",
        )
        parser.add_argument("--note", default="")

    def handle(self, *, airframe, joint, out, paper, by, address, note, **_options):
        database.prepare(self.stdout.write)
        refuse_place(out)
        refuse_address(address)
        try:
            order = order_pack(
                by=person_named(by),
                **thing_named(airframe, joint),
                paper=paper or the_shop().paper,
                address=address,
                note=note,
            )
        except (Refused, PermissionDenied) as no:
            raise CommandError(getattr(no, "message", str(no))) from None
        except ValidationError as no:
            words = [
                f"--{name}: {' '.join(why)}" for name, why in no.message_dict.items()
            ]
            raise CommandError(" ".join(words)) from None
        self.issue(order, out)

    def issue(self, order, out: Path):
        sealer.seal()
        order = PackOrder.objects.select_related(*press.RELATED).get(pk=order.pk)
        try:
            press.print_pack(order)
            data = (press.folder_of(order) / "pack.pdf").read_bytes()
            issued = press.take(order, by=order.entry.by)
            out.write_bytes(data)
            beside = out.with_name(f"{out.name}.p7s")
            beside.write_bytes(kept_packs.signature_of(issued))
        except (Refused, PermissionDenied) as no:
            why = getattr(no, "message", str(no))
            raise CommandError(f"{order.label} was not issued: {why}") from None
        except (OSError, DatabaseError) as why:
            raise CommandError(f"{order.label} could not be written: {why}") from why
        self.stdout.write(f"{order.label} issue {order.issue}, {issued.pages} pages")
        self.stdout.write(f"sha256 {issued.sha256}")
        self.stdout.write(f"signature {out.name}.p7s by {issued.signer}")


def refuse_place(out: Path) -> None:
    """Before a number is given: nothing is issued that cannot be written there."""
    if not out.name:  # "." and "/"
        raise CommandError(f"{out} is a folder: name a file.")
    if not out.parent.is_dir():
        raise CommandError(f"There is no folder {out.parent}.")
    for path in (out, out.with_name(f"{out.name}.p7s")):
        if path.is_dir():
            raise CommandError(f"{path} is a folder: name a file.")
        if not os.access(path if path.exists() else out.parent, os.W_OK):
            raise CommandError(f"{path} cannot be written.")


def refuse_address(address: str) -> None:
    """The code on each page leads there."""
    try:
        parts = urlsplit(address)
        good = parts.scheme in ("http", "https") and parts.hostname
    except ValueError:
        good = False
    if address and (not good or len(address.split()) != 1):
        raise CommandError(f"--address: {address!r} is no http or https address.")


def person_named(name: str) -> Person:
    """The person of a sign-in name, else of a full name that one person has."""
    by_username = Person.objects.filter(username=name).first()
    named = [by_username] if by_username else list(Person.objects.filter(name=name)[:2])
    if len(named) != 1:
        raise CommandError(f"--by: nobody here is called {name!r}, or several are.")
    return named[0]


def in_any_case(rows, what: str, where: str = "", **name):
    """The row so named, in whatever case; of several the one in just this case."""
    ((field, typed),) = name.items()
    matches = list(rows.filter(**{f"{field}__named": typed}).order_by(field))
    rows = [row for row in matches if getattr(row, field) == typed] or matches
    if not rows:
        raise CommandError(f"There is no {what} {typed}{where}.")
    if len(rows) > 1:
        names = ", ".join(getattr(row, field) for row in rows)
        raise CommandError(
            f"{what} {typed} may be any of {names}, which differ by case alone: name "
            "it as it is written."
        )
    return rows[0]


def thing_named(serial: str, number: str | None) -> dict:
    rows = Airframe.objects.select_related("type")
    airframe = in_any_case(rows, "airframe", serial=serial)
    if number is None:
        return {"airframe": airframe}
    rows = Joint.objects.filter(type=airframe.type)
    joint = in_any_case(rows, "joint", f" on {airframe.type}", number=number)
    return {"airframe": airframe, "joint": joint}
