"""Inspection packs: what they tell, that they stay, and who may issue them.

Which facts a pack must carry is taken from the notes on records and regulation
(shared/reference/trade.md, section 7). Seen there as quoted: the fields of the three
forms of AS9102 (2015 forms), the four items of 14 CFR 43.9(a), the dispositions of
AS9131D / AS9100D 8.7. From memory, marked so there too: what AC 120-78B asks of an
electronic signature.
"""

import csv
import hashlib
import io
import json
import random
import re
import subprocess

import pikepdf
import pypdf
import pytest
from cryptography.hazmat.primitives.serialization import Encoding
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from qa import press
from qa.actions.packs import order_pack
from qa.models import IssuedPack, Joint, Nonconformance, PackOrder, PackRemark
from qa.rules import pack_record
from shop.actions.identity import set_identity
from shop.actions.signatures import sign
from shop.files import signed_file
from shop.ledger import Refused, perform, sealer
from shop.ledger.verify import verify
from shop.models import Airframe, Part, Person
from shop.paper import archival
from shop.rules import signing as signing_rules
from shop.serving import authority, certificates, signing
from tests.around import by_hand
from tests.conftest import PASSWORD


def ordered(by="ines", **what) -> PackOrder:
    person = Person.objects.get(username=by)
    airframe = what.pop("airframe", None) or Airframe.objects.get(serial="MG2-001")
    made = order_pack(by=person, airframe=airframe, **what)
    sealer.seal()
    return PackOrder.objects.select_related(*press.RELATED).get(pk=made.pk)


def printed(order: PackOrder) -> bytes:
    press.print_pack(order)
    return (press.folder_of(order) / "pack.pdf").read_bytes()


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.fixture
def fresh(demo_db) -> tuple[PackOrder, bytes]:
    """A pack of the demo's first airframe whole, printed and not issued yet."""
    order = ordered()
    return order, printed(order)


KEPT: list[tuple[PackOrder, bytes]] = []


@pytest.fixture
def whole(request, demo_db) -> tuple[PackOrder, bytes]:
    """The same, printed once for all that only read its pages."""
    if not KEPT:
        KEPT.append(request.getfixturevalue("fresh"))
    return KEPT[0]


def words_of(pdf: bytes) -> list[str]:
    return [flat(p.extract_text()) for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def attached(pdf: bytes) -> dict[str, bytes]:
    files = pypdf.PdfReader(io.BytesIO(pdf)).attachments
    return {name: content[0] for name, content in files.items()}


def test_a_pack_carries_every_fact_that_the_standards_ask_for(whole, tmp_path):
    order, pdf = whole
    pages = words_of(pdf)
    told = " ".join(pages)
    parts = {one.serial: one for one in Part.objects.select_related("design")}
    # AS9102 form 1: part number, name, serial, revision, report number, organization,
    # signature and date.
    flap = parts["MG-1550-001"]
    for fact in (flap.serial, flap.design.number, flap.design.name, order.label):
        assert fact in told
    assert "Two-seat glider workshop" in pages[0]
    # Form 2: material, its number, lot; certificates of who measured with what.
    for fact in ("Materials", "Lot number", "GF-200", "SG-1", "Calibrated"):
        assert fact in told
    # Form 3: characteristic number, location, designator, requirement, results,
    # tooling, nonconformance number, comments.
    for fact in (
        *("Char. No.", "Characteristic", "Requirement", "Results", "Tooling"),
        *("Nonconformance", "Comments", "J-101.6G", "J-170.1F"),
    ):
        assert fact in told
    # AS9131 and AS9100D 8.7: what, where, disposition and who decided it, cause, what
    # was done, by whom it was verified.
    for item in Nonconformance.objects.filter(airframe=order.airframe):
        assert f"{item.label} " in told
    for fact in ("Disposition authority", "Concession", "Cause", "Verified by"):
        assert fact in told
    assert {"use as is", "rework", "scrap"} <= set(
        re.findall("use as is|rework|scrap", told)
    )
    # 14 CFR 43.9(a): the work, the day, who did it, signature with certificate number
    # and kind. AC 120-78B: who, what exactly (a digest), when, with which meaning.
    signatures = next(page for page in pages if "Digest of what was signed" in page)
    for fact in ("inspected: accepted", "Ines Haddad", "Certificate number and kind"):
        assert fact in signatures
    assert re.search(r"J-170, OF-\d{4}", signatures)
    for fact in ("accepted with remarks", "rejected", "Certificate number and kind"):
        assert fact in pages[0]
    # And that it never says more than it may.
    assert "airworthy" not in told.replace("say nothing of airworthiness", "")
    for tool in (["qpdf", "--check"], ["pdftotext", "-layout"]):
        path = tmp_path / "pack.pdf"
        path.write_bytes(pdf)
        done = subprocess.run([*tool, path], capture_output=True, check=False)
        assert done.returncode == 0, done.stderr


def test_its_first_page_claims_what_is_recorded_and_no_more(whole):
    _order, pdf = whole
    record = json.loads(attached(pdf)["record.json"])
    first = words_of(pdf)[0]
    for claim in record["claims"]:
        assert claim in first
    accepted = [
        one["joint"]
        for one in record["sections"]["joints"]
        if one["standing"].startswith("accepted")
    ]
    assert record["claims"][0].startswith(f"{len(accepted)} of ")
    for one in record["sections"]["joints"]:
        lines = [
            line
            for line in record["characteristics"]
            if line["number"].startswith(f"{one['joint']}.")
        ]
        judged = {line["state"] for line in lines if line["state"]}
        conforms = judged == {"conforms"} and not one["lacks"]
        assert (one["outcome"] == "conforms") == conforms, one["joint"]


def test_what_is_stale_shows_no_result_and_what_fails_shows_its_item(whole):
    _order, pdf = whole
    lines = json.loads(attached(pdf)["record.json"])["characteristics"]
    stale = [line for line in lines if line["state"] == "stale"]
    failing = [line for line in lines if line["state"] in ("above", "below")]
    assert stale and failing
    assert {line["result"] for line in stale} == {""}
    assert all(line["nonconformance"] for line in failing)
    assert any(line["nonconformance"].startswith("NC-") for line in failing)


def test_a_joint_that_was_never_fitted_is_not_told_to_be_closed(demo_db):
    order = ordered(joint=Joint.objects.get(number="J-120"))
    first = words_of(printed(order))[0]
    assert "No joint of it was fitted" in first and "Never fitted" in first
    assert "stands between this and closed" in first
    assert "Nothing that is on record stands" not in first


def test_its_data_are_inside_and_give_the_digest_at_the_foot_of_every_page(fresh):
    order, pdf = fresh
    files = attached(pdf)
    record = files["record.json"]
    digest = hashlib.sha256(record).hexdigest()
    pages = words_of(pdf)
    for number, page in enumerate(pages, 1):
        assert f"content sha256 {digest}" in page
        assert f"{number} of {len(pages)}" in page
    table = list(
        csv.DictReader(io.StringIO(files["characteristics.csv"].decode("utf-8-sig")))
    )
    lines = json.loads(record)["characteristics"]
    assert [row["Results"] for row in table] == [line["result"] for line in lines]
    issue = json.loads(files["issue.json"])
    assert (issue["pack"], issue["issue"]) == (order.label, order.issue)
    assert issue["content_sha256"] == digest
    assert list(sealer.head()) == issue["ledger_head"]


def test_the_same_record_gives_the_same_bytes(fresh):
    order, pdf = fresh
    assert printed(order) == pdf


def test_bookmarks_and_index_lead_to_the_pages(whole):
    _order, pdf = whole
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    marks = {}

    def walk(outline):
        for one in outline:
            if isinstance(one, list):
                walk(one)
            else:
                marks[one.title] = reader.get_destination_page_number(one)

    walk(reader.outline)
    pages = words_of(pdf)
    assert {"What is claimed", "Contents", "Joints", "Digests"} <= set(marks)
    for title, page in marks.items():
        assert title.split(" ")[0] in pages[page]
    index = flat(reader.pages[marks["Index"]].extract_text())
    shown = re.search(r"J-170 ((?:\d+, )*\d+)", index)[1]
    assert marks["J-170 Tow hook flap to fuselage"] + 1 in map(int, shown.split(", "))


def test_the_mark_of_the_shop_stands_on_the_first_page(demo_db):
    lead = Person.objects.get(username="lena")
    picture = io.BytesIO()
    Image.new("RGB", (60, 20), "navy").save(picture, "PNG")
    said = {"name": "Shop", "time_zone": "UTC", "units": "mm", "paper": "a4"}
    set_identity(by=lead, picture=picture.getvalue(), **said)
    pdf = printed(ordered(joint=Joint.objects.get(number="J-170")))
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    (mark,) = reader.pages[0].images
    assert mark.image.size == (60, 20) and not reader.pages[1].images
    assert archival.validated(pdf) == []


def test_an_earlier_issue_stays_and_a_newer_one_tells_what_changed(demo_db):
    first, second = IssuedPack.objects.order_by("order__issue").filter(
        order__subject="MG2-001 J-170"
    )
    before = press.file_of(first).read_bytes()
    assert hashlib.sha256(before).hexdigest() == first.sha256
    told = " ".join(words_of(press.file_of(second).read_bytes()))
    assert "Changed since issue 1" in told
    changed = told.split("Changed since issue 1")[-1].split("Identity and")[0]
    assert "weight MG-1550-001, finished" in changed and "0.212 kg" in changed
    assert "J-170.1G" not in changed
    # Nothing happened since: a third says so, with the same content.
    third = ordered(joint=Joint.objects.get(number="J-170"))
    pdf = printed(third)
    assert "Nothing that this pack tells has changed" in " ".join(words_of(pdf))
    assert press.take(third).content_digest == second.content_digest
    assert press.file_of(first).read_bytes() == before


def test_who_may_not_issue_and_what_cannot_be_issued_are_refused(demo_db):
    with pytest.raises(PermissionDenied):
        ordered(by="bea")
    lead = Person.objects.get(username="emil")
    first = Airframe.objects.get(serial="MG2-001")
    with perform("test/1", by=lead):
        empty = Airframe.objects.create(type=first.type, serial="MG2-9", line_number=9)
    with pytest.raises(Refused, match="nothing to tell"):
        ordered(airframe=empty)
    order = ordered(joint=Joint.objects.get(number="J-170"))
    printed(order)
    left = {path: path.read_bytes() for path in press.folder_of(order).iterdir()}
    press.take(order)
    press.folder_of(order).mkdir()
    for path, data in left.items():
        path.write_bytes(data)
    with pytest.raises(Refused, match="issued already"):
        press.take(order)


def test_the_ledger_names_a_pack_whose_file_was_changed(demo_db):
    assert verify().faults == ()
    pack = IssuedPack.objects.order_by("pk")[0]
    path = press.file_of(pack)
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    named = f"qa_issuedpack {pack.pk}: its file"
    assert verify().faults == (f"{named} holds another content",)


def test_its_signature_is_that_of_exactly_these_bytes(demo_db, tmp_path):
    """By another program: openssl."""
    pack = IssuedPack.objects.order_by("pk")[0]
    signature, own = tmp_path / "pack.p7s", tmp_path / "authority.pem"
    signature.write_bytes(press.signature_of(pack))
    certificate = certificates.shop_authority().certificate
    own.write_bytes(certificate.public_bytes(Encoding.PEM))

    def tried(path):
        return subprocess.run(
            [
                *("openssl", "cms", "-verify", "-binary", "-inform", "DER"),
                *("-in", signature, "-content", path, "-CAfile", own),
                *("-out", "/dev/null"),
            ],
            capture_output=True,
            check=False,
        ).returncode

    assert tried(press.file_of(pack)) == 0
    other = tmp_path / "other.pdf"
    wrong = bytearray(press.file_of(pack).read_bytes())
    wrong[len(wrong) // 2] ^= 1
    other.write_bytes(wrong)
    assert tried(other) != 0


def test_the_command_writes_what_it_issued_and_tells_its_sha256(demo_db, tmp_path):
    out, told = tmp_path / "door.pdf", io.StringIO()
    call_command(
        *("pack", "MG2-001", "--joint", "J-101", "--out", str(out), "--by", "ines"),
        stdout=told,
    )
    data = out.read_bytes()
    assert f"sha256 {hashlib.sha256(data).hexdigest()}" in told.getvalue()
    assert "PK-0003 issue 1" in told.getvalue()
    assert (tmp_path / "door.pdf.p7s").is_file()
    for wrong, why in (
        (("MG2-77", "--by", "ines"), "no airframe MG2-77"),
        (("MG2-001", "--joint", "J-1", "--by", "ines"), "no joint J-1"),
        (("MG2-001", "--by", "nobody"), "nobody here is called"),
        (("MG2-001", "--by", "bea"), "Only these roles may issue packs"),
    ):
        with pytest.raises(CommandError, match=why):
            call_command("pack", *wrong, "--out", str(out))
    assert out.read_bytes() == data


def test_the_list_takes_the_same_statements_for_1_and_for_30_packs(demo_db, client):
    client.force_login(Person.objects.get(username="vic"))
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(
            connection,
        ) as found:
            assert client.get(reverse("packs")).status_code == 200
        counts.append(len(found))
        for _ in range(28):
            ordered(joint=Joint.objects.get(number="J-170"))
    assert counts[0] == counts[1]


def test_the_code_of_a_page_tells_a_page_of_ours_from_any_other(demo_db, client):
    client.force_login(Person.objects.get(username="vic"))
    first, second = IssuedPack.objects.order_by("pk")
    number, digest = first.order.number, first.content_digest
    told = client.get(reverse("pack_page", args=[number, digest[:16]])).content.decode()
    assert "is of an issued pack" in told and second.order.label in told
    for wrong in ("0" * 16, digest[:8], second.content_digest[:16]):
        told = client.get(reverse("pack_page", args=[number, wrong])).content.decode()
        assert "of no pack that was issued" in told


def test_a_remark_on_a_line_of_a_pack_becomes_an_item(demo_db, client):
    client.force_login(Person.objects.get(username="ines"))
    pack = IssuedPack.objects.order_by("pk")[0]
    number = pack.order.number
    read = client.get(reverse("read_pack", args=[number]), {"part": "J-170"})
    assert "J-170.1G" in read.content.decode() and "1.40" in read.content.decode()
    rest = client.get(reverse("read_pack", args=[number]), {"part": ""})
    assert "part MG-1550-001" in rest.content.decode()
    address = reverse("remark_on_pack", args=[number])
    asked = f"{address}?part=J-170&line=J-170.1G"
    empty = client.post(asked, {"text": " "})
    assert empty.status_code == 200 and not PackRemark.objects.exists()
    client.post(asked, {"text": "measured over the paint"})
    remark = PackRemark.objects.get()
    item = remark.item
    assert (item.title, item.source) == ("measured over the paint", "inspection")
    assert item.joint.number == "J-170" and item.stations == ["1"]
    assert "1.40" in item.found and pack.order.label in item.note
    read = client.get(reverse("read_pack", args=[number]), {"part": "J-170"})
    assert item.label in read.content.decode()
    assert client.get(f"{address}?part=J-170&line=J-999.1G").status_code == 404
    client.post(address, {"text": "page 3 is smudged"})
    assert PackRemark.objects.last().line == "the pack whole"
    # The pack itself stays as it was.
    assert verify().faults == ()


def test_a_pack_is_signed_and_the_next_issue_tells_by_whom(demo_db):
    inspector = Person.objects.get(username="ines")
    # By the tests' own quick hasher.
    inspector.set_password(PASSWORD)
    with by_hand():
        inspector.save()
    pack = IssuedPack.objects.order_by("-pk")[0]
    signable, content = signing_rules.content_of("pack", pack.pk)
    sign(
        by=inspector,
        kind="pack",
        key=pack.pk,
        meaning="inspected",
        name="Ines Haddad",
        secret=PASSWORD,
        shown=signing_rules.digest_of(signable.text(content)),
    )
    assert dict(content.fields)["sha256 of the file"] == pack.sha256
    told = " ".join(words_of(printed(ordered(joint=pack.order.joint))))
    signed = told.split("Digest of what was signed")[1]
    assert pack.order.label in signed and inspector.certificate_number in signed


def test_an_order_in_the_press_shows_how_far_it_is_and_what_it_left(demo_db, client):
    client.force_login(Person.objects.get(username="ines"))
    order = ordered(joint=Joint.objects.get(number="J-170"))
    page = client.get(reverse("pack", args=[order.number]))
    assert page["Refresh"] and "being made" in page.content.decode()
    printed(order)
    page = client.get(reverse("pack", args=[order.number]))
    assert page["Refresh"] and "Issue them now" in page.content.decode()
    client.post(reverse("take_pack", args=[order.number]))
    answer = client.get(reverse("pack_pdf", args=[order.number]))
    assert hashlib.sha256(answer.content).hexdigest() == order.issued.sha256


def test_what_is_table_and_record_is_made_from_the_same_lines():
    line = dict.fromkeys(pack_record.FIELDS.values(), "") | {"comment": "=1+1"}
    record = pack_record.record_of({"characteristics": [line]})
    assert b"'=1+1" in pack_record.table_of(record)
    with pytest.raises((KeyError, ValueError)):
        pack_record.table_of(b"{}")
    assert pack_record.changes(
        {"J-2": "a", "J-10": "b"}, {"J-10": "c", "J-2": "d"}
    ) == [
        ("J-2", "a", "d"),
        ("J-10", "b", "c"),
    ]


def test_a_pack_is_archival_and_tagged_to_be_read_aloud(whole, tmp_path):
    """By the allowlist of pikepdf's validator; the tags by poppler."""
    _order, pdf = whole
    assert archival.validated(pdf) == []
    path = tmp_path / "pack.pdf"
    path.write_bytes(pdf)
    told = subprocess.run(
        ["pdfinfo", "-struct-text", path], capture_output=True, text=True, check=True
    ).stdout
    for tag in ("H1", "H2", "H3", "P", "Figure"):
        assert re.search(rf"^  {tag}\b", told, re.M)
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert reader.trailer["/Root"]["/Lang"] == "en-US"
    figures = [
        one.get_object()
        for one in reader.trailer["/Root"]["/StructTreeRoot"]["/K"]["/K"]
        if one.get_object()["/S"] == "/Figure"
    ]
    assert figures and all(one["/Alt"] for one in figures)
    assert reader.metadata.title.startswith("Inspection pack PK-0003 MG2-001")


def checked(path, *more) -> tuple[int, str]:
    told = io.StringIO()
    with pytest.raises(SystemExit) as end:
        call_command("pack_check", str(path), *more, stdout=told, stderr=told)
    return end.value.code, told.getvalue()


@pytest.fixture
def brought(demo_db, tmp_path):
    """An issued pack with its signature beside it, and the authority's certificate."""
    pack = IssuedPack.objects.order_by("pk")[0]
    path = tmp_path / "brought.pdf"
    path.write_bytes(press.file_of(pack).read_bytes())
    (tmp_path / "brought.pdf.p7s").write_bytes(press.signature_of(pack))
    own = certificates.shop_authority().certificate
    (tmp_path / "own.pem").write_bytes(own.public_bytes(Encoding.PEM))
    return path


def test_a_pack_is_checked_without_a_database(brought, tmp_path):
    code, told = checked(brought, "--certificate", str(tmp_path / "own.pem"))
    assert (code, "As it was signed" in told) == (0, True)
    answer = json.loads(checked(brought, "--json")[1])
    assert answer["intact"] and answer["by_certificate"] is None
    # Another authority's certificate: signed, but not by them.
    now = certificates.utc_now()
    foreign = authority.make_authority("Other", [], now).certificate
    (tmp_path / "other.pem").write_bytes(foreign.public_bytes(Encoding.PEM))
    code, told = checked(brought, "--certificate", str(tmp_path / "other.pem"))
    assert (code, "neither the one given" in told) == (1, True)


def test_none_of_200_flipped_bytes_of_a_pack_is_missed(brought):
    """The signature is of every byte, so that any will do; what is told first is cheap,
    the pages are read only where the bytes hold."""
    data, flips = brought.read_bytes(), random.Random(15)
    signature = brought.with_name("brought.pdf.p7s").read_bytes()
    assert signed_file.signer_of(data, signature)
    for number in range(200):
        at, bit = flips.randrange(len(data)), 1 << flips.randrange(8)
        wrong = bytearray(data)
        wrong[at] ^= bit
        assert signed_file.signer_of(bytes(wrong), signature) is None
        if number % 50 == 0:
            brought.write_bytes(wrong)
            assert checked(brought)[0] in (1, 3)
    brought.write_bytes(data)
    assert checked(brought)[0] == 0


def test_the_check_names_the_part_that_was_altered(brought, tmp_path):
    """Signed anew by whoever altered it, so that the signature itself holds."""
    data = brought.read_bytes()

    def altered(change) -> str:
        with pikepdf.open(io.BytesIO(data)) as pdf:
            change(pdf)
            out = io.BytesIO()
            pdf.save(out)
        brought.write_bytes(out.getvalue())
        mark = signing.sign(out.getvalue())[0]
        brought.with_name("brought.pdf.p7s").write_bytes(mark)
        code, told = checked(brought)
        assert code == 1
        return told

    def rewrite(name, old, new):
        def change(pdf):
            spec = pdf.attachments[name]
            content = spec.get_file().read_bytes()
            assert old in content
            pdf.attachments[name] = pikepdf.AttachedFileSpec(
                pdf, content.replace(old, new, 1), filename=name
            )

        return change

    told = altered(rewrite("record.json", b"conforms", b"CONFORMS"))
    assert "page 1: prints another content digest" in told
    told = altered(rewrite("characteristics.csv", b"1.40", b"1.41"))
    assert "characteristics.csv: not the table" in told and "page" not in told
    told = altered(lambda pdf: pdf.attachments.__delitem__("issue.json"))
    assert "issue.json: not attached" in told


def test_a_signature_inside_is_checked_as_well(brought, tmp_path):
    data = signing.signed_inside(brought.read_bytes())
    assert data.startswith(brought.read_bytes())
    path = tmp_path / "inside.pdf"
    path.write_bytes(data)
    assert checked(path, "--certificate", str(tmp_path / "own.pem"))[0] == 0
    for at in (len(data) // 3, len(brought.read_bytes()) - 9, len(data) - 40):
        wrong = bytearray(data)
        wrong[at] ^= 1
        path.write_bytes(wrong)
        assert checked(path)[0] in (1, 3)
    path.write_bytes(data + b"\n%added")
    assert checked(path)[0] != 0


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "no signature is inside"),
        (b"no pdf", "no signature is inside"),
        (None, "cannot be read"),
    ],
)
def test_what_cannot_be_tried_is_bad_input(db, tmp_path, content, why):
    path = tmp_path / "brought.pdf"
    if content is not None:
        path.write_bytes(content)
    code, told = checked(path)
    assert (code, why in told or "cannot be" in told) == (3, True)
