"""`pack_check PACK.pdf`: whether a pack is as it was signed. Needs no database.

Exit codes: 0 the bytes are those signed and the data inside give the printed digest,
1 altered (and which part), 3 bad input or signed by another than the one named, 4 the
answer could not be written.
"""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from cryptography import x509
from django.core.management.base import BaseCommand

from qa.files.pack_file import NoPack, PackFile, read_pack
from qa.rules import pack_record
from shop.files.command_line import end_with_bad_input
from shop.files.signature_form import BROKEN
from shop.files.signed_file import (
    ForeignSignature,
    Signer,
    UnreadableSignature,
    UnusableCertificate,
    require_by,
    signer_of,
)

ALTERED, BAD_INPUT, NOT_WRITTEN = 1, 3, 4
EXIT_CODES = (
    "Exit code: 0 as it was signed; 1 altered; 3 bad input, or signed by another than "
    "the one named."
)


class BadInput(Exception):
    """What was given cannot be tried at all."""


@dataclass
class Answer:
    """What was found: `altered` names each part that is not as it was, `foreign` why
    the signature is not by whom it should be."""

    signature: str = ""
    signer: str = ""
    signed_at: str = ""
    by_certificate: bool | None = None
    content_digest: str = ""
    pages: int = 0
    foreign: str = ""
    altered: list[str] = field(default_factory=list)

    @property
    def code(self) -> int:
        if self.altered:
            return ALTERED
        return BAD_INPUT if self.foreign else 0


class Command(BaseCommand):
    help = "Tell whether an inspection pack is as it was signed, without a database."
    requires_system_checks = ()

    def create_parser(self, prog_name, subcommand, **kwargs):
        parser = super().create_parser(
            prog_name, subcommand, epilog=EXIT_CODES, **kwargs
        )
        end_with_bad_input(parser, subcommand)
        return parser

    def add_arguments(self, parser):
        parser.add_argument("pack", type=Path, metavar="PACK.pdf")
        parser.add_argument(
            "--certificate",
            type=Path,
            metavar="CERT.pem",
            help="the shop's certificate, or that of its authority; those of who "
            "issued it may follow in the same file",
        )
        parser.add_argument("--json", action="store_true")

    def handle(self, *, pack, certificate, json: bool, **_options):
        try:
            answer = check(pack, certificate)
        except BadInput as why:
            self.stderr.write(f"{pack}: {why}")
            sys.exit(BAD_INPUT)
        try:
            self.stdout.write(as_json(answer) if json else in_words(answer))
            self.stdout.flush()
        except OSError as why:
            self.stderr.write(f"The answer could not be written: {why}")
            sys.exit(NOT_WRITTEN)
        sys.exit(answer.code)


def check(path: Path, certificate: Path | None) -> Answer:
    """Try the signature, then the data and the pages."""
    data = _bytes(path)
    known = _certificates(certificate) if certificate else []
    answer = Answer()
    beside = path.with_name(f"{path.name}.p7s")
    if beside.is_file():
        _detached(answer, data, _bytes(beside), known)
    else:
        _embedded(answer, data, known)
    try:
        pack = read_pack(data)
    except NoPack as why:
        if not answer.altered:
            raise BadInput(f"{why}.") from why
        return answer
    _content(answer, pack)
    return answer


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as why:
        raise BadInput(f"{path.name} cannot be read: {why.strerror}.") from why


def _certificates(path: Path) -> list[x509.Certificate]:
    """As text (PEM), perhaps with those of who issued it, or as the site hands it out
    (DER)."""
    data = _bytes(path)
    for load in (x509.load_pem_x509_certificates, _der):
        try:
            return load(data)
        except BROKEN:
            continue
    raise BadInput(f"{path.name} holds no certificate (PEM or DER).")


def _der(data: bytes) -> list[x509.Certificate]:
    return [x509.load_der_x509_certificate(data)]


def _detached(answer: Answer, data: bytes, signature: bytes, known) -> None:
    answer.signature = "detached"
    try:
        signer = signer_of(data, signature, known)
    except UnreadableSignature as why:
        raise BadInput(f"the signature beside it cannot be read: {why}.") from why
    if signer is None:
        answer.altered.append("the file: its bytes are not those that were signed")
        return
    _name(answer, signer, known)


def _name(answer: Answer, signer: Signer, known: Sequence[x509.Certificate]) -> None:
    try:
        answer.signer, answer.signed_at = signer.name, signer.at
        if known:
            require_by(signer, known[0])
            answer.by_certificate = True
    except UnusableCertificate as why:
        raise BadInput(f"{why}.") from why
    except ForeignSignature as why:
        answer.by_certificate, answer.foreign = False, str(why)
    except BROKEN as why:
        raise BadInput(f"the certificate of its signer cannot be read: {why}.") from why


def _embedded(answer: Answer, data: bytes, known) -> None:
    # pyHanko is slow to import.
    from shop.files.embedded_signature import embedded_signer

    answer.signature = "embedded"
    try:
        signer, altered = embedded_signer(data, known)
    except UnreadableSignature as why:
        raise BadInput(f"{why}, and no signature (.p7s) lies beside it.") from why
    if altered:
        answer.altered.append(f"the file: {altered}")
        return
    _name(answer, signer, known)


def _content(answer: Answer, pack: PackFile) -> None:
    """Whether the data inside give what the pages print."""
    answer.pages = len(pack.printed)
    named = (pack_record.RECORD, pack_record.TABLE, pack_record.ISSUE)
    missing = [name for name in named if name not in pack.attached]
    if missing:
        answer.altered.append(f"{', '.join(missing)}: not attached")
        return
    record, table, issue = (pack.attached[name] for name in named)
    digest = answer.content_digest = pack_record.digest_of(record)
    for number, printed in enumerate(pack.printed, 1):
        if set(printed) != {digest}:
            answer.altered.append(
                f"page {number}: prints another content digest than {named[0]} gives"
            )
    for number, named_sheets in enumerate(pack.sheets, 1):
        if (str(number), str(answer.pages)) not in named_sheets:
            last = named_sheets[-1] if named_sheets else None
            place = "sheet {} of {}".format(*last) if last else "no sheet"
            answer.altered.append(
                f"page {number}: says that it is {place}, and is {number} of "
                f"{answer.pages}"
            )
    try:
        if pack_record.table_of(record).encode() != table:
            answer.altered.append(f"{named[1]}: not the table of {named[0]}")
        if json.loads(issue)["content_sha256"] != digest:
            answer.altered.append(f"{named[2]}: names another content digest")
    except (*BROKEN, RecursionError):
        answer.altered.append(f"{named[0]} or {named[2]}: cannot be read")


def as_json(answer: Answer) -> str:
    return json.dumps({"intact": not answer.code, **vars(answer)}, indent=1)


def in_words(answer: Answer) -> str:
    other = [f"the signature: {answer.foreign}"] if answer.foreign else []
    if answer.altered:
        return "\n  ".join(["ALTERED", *answer.altered, *other])
    if other:
        return "\n  ".join(["SIGNED BY ANOTHER", *other])
    by, lines = answer.signer, []
    if answer.by_certificate is None:
        by = f"somebody who calls himself {answer.signer}"
        lines.append(
            f"Signed by {by}: whose signature that is was not tried. Name the shop's "
            "certificate with --certificate."
        )
    lines += [
        f"As it was signed: {answer.pages} pages, by {by}, "
        f"{answer.signed_at or 'at a time that is not said'} by the signer's clock.",
        f"The data inside give the printed digest {answer.content_digest}.",
    ]
    return "\n".join(lines)
