"""Inspection packs: what they tell, that they stay, and who may issue them.

Which facts a pack must carry, and how each is known, stands in pack_facts.
"""

import csv
import hashlib
import io
import json
import os
import random
import re
import subprocess
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, is_dataclass, replace
from datetime import timedelta
from html import unescape
from pathlib import Path
from zoneinfo import ZoneInfo

import pikepdf
import pypdf
import pytest
from asn1crypto import keys
from asn1crypto import x509 as asn1
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    pkcs7,
)
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import signers
from pyhanko_certvalidator.registry import SimpleCertificateStore

from qa import press
from qa.actions import inspections
from qa.actions.holes import (
    HoleDraft,
    MeasuredHole,
    PatternHead,
    define_pattern,
    record_holes,
)
from qa.actions.pack_remarks import remark_on_pack
from qa.actions.packs import Printed, Signed, issue_pack, order_pack
from qa.actions.raising import raise_by_hand, raise_holes, raise_result
from qa.files import pack_file
from qa.models import (
    Check,
    FitPlan,
    HolePattern,
    Instrument,
    IssuedPack,
    Joint,
    Nonconformance,
    NonconformanceState,
    PackOrder,
    PackRemark,
    Station,
    ToolCorrection,
)
from qa.paper import pack as paper
from qa.queries.issue import local
from qa.queries.packs import (
    closing,
    holes,
    instruments,
    items,
    joint_maps,
    joints,
    reading,
    signed,
    weights,
)
from qa.queries.packs.joints import Joints
from qa.queries.packs.pack import Pack, pack_of
from qa.queries.packs.scope import scope_of
from qa.rules import (
    close_out_records,
    kept_packs,
    pack_lines,
    pack_record,
    signed_packs,
)
from qa.rules.pack_lines import Change, Compared
from qa.wording import close_outs
from shop.actions.airframes import place_part, remove_part
from shop.actions.identity import set_identity
from shop.actions.people import add_person, set_certificate
from shop.actions.photos import add_photo
from shop.actions.signatures import sign
from shop.actions.weights import weigh_part
from shop.demo.times import grams
from shop.files import embedded_signature, signed_file
from shop.ledger import Refused, perform, sealer
from shop.ledger.verify import verify
from shop.models import (
    Airframe,
    AirframeType,
    Entry,
    Lineage,
    Part,
    Person,
    Position,
    Pull,
    Signature,
)
from shop.paper import archival
from shop.rules import signing as signing_rules
from shop.serving import authority, certificates, signing
from shop.wording import states
from tests.around import by_hand
from tests.conftest import PASSWORD, make_people
from tests.qa import pack_facts
from tests.qa.making import make_position, refit
from tests.qa.test_characteristics import found, planned
from tests.qa.test_offers import accepted
from tests.qa.test_temporary import at_once
from tests.shop.making_floor import lay_all, make_pull
from tests.test_ledger_binds import drop_what_guards


def ordered(by="ines", **what) -> PackOrder:
    person = Person.objects.get(username=by)
    airframe = what.pop("airframe", None) or Airframe.objects.get(serial="MG2-001")
    made = order_pack(by=person, airframe=airframe, **what)
    sealer.seal()
    return PackOrder.objects.select_related(*press.RELATED).get(pk=made.pk)


def printed(order: PackOrder) -> bytes:
    press.print_pack(order)
    return (press.folder_of(order) / "pack.pdf").read_bytes()


def file_of(pack: IssuedPack) -> Path:
    return settings.MEDIA_ROOT / pack.file_name


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


@pytest.mark.either_database
def test_a_pack_carries_each_fact_that_the_standards_ask_for(whole, tmp_path):
    """Each by itself, with how its standard is known, in pack_facts."""
    order, pdf = whole
    read = pack_facts.Read(order, words_of(pdf), attached(pdf))
    assert pack_facts.missing(read) == []
    # And that it never says more than it may.
    assert "airworthy" not in read.told.replace("say nothing of airworthiness", "")
    # Of an empty one each is missing.
    read.sections |= dict.fromkeys(read.sections, ())
    read.sections["genealogy"] = {"parts": (), "materials": ()}
    read.record |= {"characteristics": (), "claims": (), "subject": ""}
    read.pages, read.told = [""], ""
    assert len(pack_facts.missing(read)) == len(pack_facts.FACTS)
    for tool in (["qpdf", "--check"], ["pdftotext", "-layout"]):
        path = tmp_path / "pack.pdf"
        path.write_bytes(pdf)
        done = subprocess.run([*tool, path], capture_output=True, check=False)
        assert done.returncode == 0, done.stderr


@pytest.mark.either_database
def test_every_signature_and_every_check_is_told_with_who_what_when_and_by_what_right(
    whole,
):
    """14 CFR 43.9(a), seen as quoted: the work or a reference to it, its date, who did
    it, signature with number and kind of certificate. AC 120-78B, from memory, its text
    was not seen: unique to the signer, meant so, its scope shown, bound to the content,
    traceable, printed, and shown where it no longer holds."""
    order, pdf = whole
    told = " ".join(words_of(pdf))
    record = json.loads(attached(pdf)["record.json"])["sections"]
    signed = {
        (row.digest, f"{row.name}, {row.get_role_display()}"): row
        for row in Signature.objects.select_related("entry")
    }
    lines, seen = record["signatures"], set()
    for line in lines:
        assert all(line[fact] for fact in ("meaning", "what", "by", "at", "holds"))
        assert re.fullmatch("[0-9a-f]{64}", line["digest"])
        for fact in ("what", "by", "at"):
            assert flat(line[fact]) in told, line
        assert line["digest"][:16] in told
        if "proven by" in line["meaning"]:
            row = signed[line["digest"], line["by"]]
            seen.add(row.kind)
            assert line["certificate"] == row.certificate
            assert line["at"] == local(row.entry.received_at)
    assert {"check", "inspection", "ply", "close_out"} <= seen
    held = {line["certificate"] for line in lines if line["by"].startswith("Ines")}
    assert held == {"shop inspector, composites MG-QI-07"}
    ends = {line["holds"].partition(":")[0] for line in lines}
    assert {"holds", "changed since"} <= ends
    for check in Check.objects.filter(fit_up__airframe=order.airframe):
        if f"{check.label} " in told:
            assert check.entry.author in told


@pytest.mark.either_database
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


@pytest.mark.either_database
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


@pytest.mark.either_database
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


@pytest.mark.either_database
def test_the_same_record_gives_the_same_bytes(fresh):
    order, pdf = fresh
    assert printed(order) == pdf


@pytest.mark.either_database
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


@pytest.mark.either_database
def test_a_shop_of_inches_says_inches_over_its_lines(demo_db):
    said = {"name": "Ours", "time_zone": "UTC", "units": "in", "paper": "letter"}
    set_identity(by=Person.objects.get(username="lena"), **said)
    pack = pack_of(ordered(joint=Joint.objects.get(number="J-101")), (0, ""), 0)
    told = " ".join(words_of(paper.render(pack, press.FILES)[0]))
    heads = re.findall("Every characteristic ([0-9]+ lines?, lengths in [a-z ]+)", told)
    assert len(heads) == 3
    assert heads[-1].strip() == "1 line, lengths in the units shown"
    assert all(" lengths in inches" in head for head in heads[:-1]), heads


@pytest.mark.either_database
def test_the_press_tells_days_and_times_in_the_zone_of_the_shop(demo_db):
    """No page asks for it there: nobody else says which zone that is."""
    said = {"name": "Ours", "units": "mm", "paper": "a4"}
    lead = Person.objects.get(username="lena")
    set_identity(by=lead, time_zone="Asia/Kathmandu", **said)
    order = ordered(joint=Joint.objects.get(number="J-170"))
    pages = " ".join(words_of(printed(order)))
    issued = order.entry.received_at.astimezone(ZoneInfo("Asia/Kathmandu"))
    assert f"{issued:%Y-%m-%d %H:%M} +05:45" in pages
    assert "+00:00" not in pages
    assert timezone.get_current_timezone_name() == settings.TIME_ZONE


@pytest.mark.either_database
def test_the_mark_of_the_shop_stands_on_the_first_page(demo_db, tmp_path):
    lead = Person.objects.get(username="lena")
    picture = io.BytesIO()
    Image.new("RGB", (60, 20), "navy").save(picture, "PNG")
    said = {"name": "Sheet 7 of 9", "time_zone": "UTC", "units": "mm", "paper": "a4"}
    set_identity(by=lead, picture=picture.getvalue(), **said)
    pdf = printed(ordered(joint=Joint.objects.get(number="J-170")))
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    (mark,) = reader.pages[0].images
    assert mark.image.size == (60, 20) and not reader.pages[1].images
    assert archival.validated(pdf) == []
    # Whose name reads as a sheet does: its packs are as they were signed all the same.
    path = tmp_path / "pack.pdf"
    path.write_bytes(pdf)
    path.with_name("pack.pdf.p7s").write_bytes(signing.sign(pdf)[0])
    code, told = checked(path)
    assert (code, "Sheet 7 of 9" in words_of(pdf)[1]) == (0, True), told


def test_an_earlier_issue_stays_and_a_newer_one_tells_what_changed(demo_db):
    first, second = IssuedPack.objects.order_by("order__issue").filter(
        order__subject="MG2-001 J-170"
    )
    before = file_of(first).read_bytes()
    assert hashlib.sha256(before).hexdigest() == first.sha256
    told = " ".join(words_of(file_of(second).read_bytes()))
    assert "Changed since issue 1" in told
    changed = told.split("Changed since issue 1")[-1].split("Identity and")[0]
    assert "weight MG-1550-001, finished" in changed and "0.212 kg" in changed
    assert "J-170.1G" not in changed
    # Nothing happened since: a third says so, with the same content.
    third = ordered(joint=Joint.objects.get(number="J-170"))
    pdf = printed(third)
    assert "Nothing that this pack tells has changed" in " ".join(words_of(pdf))
    assert press.take(third, by=third.entry.by).content_digest == second.content_digest
    assert file_of(first).read_bytes() == before


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
    press.take(order, by=order.entry.by)
    press.folder_of(order).mkdir()
    for path, data in left.items():
        path.write_bytes(data)
    with pytest.raises(Refused, match="issued already"):
        press.take(order, by=order.entry.by)


def test_a_pack_is_of_nothing_that_is_not_of_the_airframe(demo_db, client):
    first = Airframe.objects.get(serial="MG2-001")
    lead = Person.objects.get(username="emil")
    here = set(first.fit_ups.values_list("part", "surround_part"))
    here = {key for pair in here for key in pair}
    here |= set(first.placements.values_list("part", flat=True))
    elsewhere = Part.objects.exclude(pk__in=here)[0]
    joint = Joint.objects.exclude(current=None).get(type=first.type, number="J-170")
    with by_hand():
        joint.first_line, joint.last_line = 7, 8
        joint.save()
    with perform("test/1", by=lead):
        other = AirframeType.objects.create(code="OTHER", name="Other")
        bay = Position.objects.create(type=other, code="X", name="X", path="X")
    before = PackOrder.objects.count()
    for name, thing, why in (
        ("part", elsewhere, "neither sits on MG2-001 nor was fitted there"),
        ("joint", joint, "MG2-001 has no joint J-170"),
        ("bay", bay, "another type of airframe"),
    ):
        with pytest.raises(Refused, match=why) as no:
            ordered(**{name: thing})
        assert no.value.field == name
    client.force_login(lead)
    said = {"airframe": first.pk, "part": elsewhere.serial, "paper": "a4"}
    told = client.post(reverse("new_pack"), said).content.decode()
    assert "neither sits on MG2-001 nor was fitted there" in told
    assert PackOrder.objects.count() == before


def test_a_part_brings_its_open_items_from_another_airframe(demo_db):
    first = Airframe.objects.get(serial="MG2-001")
    other = Airframe.objects.exclude(pk=first.pk)[0]
    part = Part.objects.get(serial="MG-1550-001")
    item = raise_by_hand(
        by=Person.objects.get(username="bea"),
        airframe=other,
        part=part,
        title="crack at the hinge",
    )
    pack = pack_of(ordered(part=part), (0, ""), 0)
    named = f"{other.serial} {item.label}"
    record = json.loads(pack.record)
    assert named in [one["label"] for one in record["sections"]["nonconformances"]]
    assert not any(one.startswith("0 of") for one in pack.claims if "closed" in one)
    assert "Nothing that is on record" not in " ".join(pack.claims)


def test_a_pack_of_a_part_tells_no_items_of_what_that_is_only_fitted_to(demo_db):
    """What is elsewhere on the shell is nothing of the flap: the first page counted it
    beside fewer things that stand."""
    first = Airframe.objects.get(serial="MG2-001")
    part = Part.objects.get(serial="MG-1550-001")
    shell = part.fit_ups.get(airframe=first).surround_part
    item = raise_by_hand(
        by=Person.objects.get(username="bea"),
        airframe=first,
        part=shell,
        title="void under the step",
    )
    bay = part.placements.get(removed_at=None).position
    for what, told in (
        *(({"part": part}, False), ({"bay": bay}, False)),
        *(({"part": shell}, True), ({}, True)),
    ):
        shown = [x.label for x in items.section(scope_of(ordered(**what))).items]
        assert (item.label in shown) is told, what
    claims = pack_of(
        ordered(joint=Joint.objects.get(number="J-110")), (0, ""), 0
    ).claims
    assert claims[0].startswith("0 of 1 joint is accepted")


def test_every_item_that_stands_has_its_story_also_of_what_a_part_was_bonded_from(
    demo_db,
):
    by, lead = (Person.objects.get(username=name) for name in ("bea", "emil"))
    first = Airframe.objects.get(serial="MG2-001")
    other = Airframe.objects.exclude(pk=first.pk)[0]
    part = Part.objects.get(serial="MG-1550-001")
    sits = part.placements.get(removed_at=None)
    skin = Part.objects.exclude(placements__airframe=first)[0]
    crack = raise_by_hand(by=by, airframe=other, part=skin, title="crack in the skin")
    with perform("part/1", by=lead, said={}) as act:
        act.record(Lineage(part=part, kind="bonded", source=skin))
    joint = part.fit_ups.filter(airframe=first).first().joint
    of = [{}, {"bay": sits.position}, {"part": part}, {"joint": joint}]

    def told(**what) -> set[str]:
        scope = scope_of(PackOrder(airframe=first, **what))
        section = items.section(scope)
        told = {item.label for item in section.items}
        assert len(told) == len(section.items)
        stands = closing.standing_section(scope).lines
        named = [x.what for x in stands if x.kind == str(close_outs.KINDS["item"])]
        opened = {item.label for item in section.items if item.open}
        assert all(any(x.startswith(f"{y} ") for y in opened) for x in named), what
        return told

    name = f"{other.serial} {crack.label}"
    for what in of:
        assert name in told(**what), what
    # Closed while it was here it stays told; closed before its part came it does not.
    closed = NonconformanceState.objects.filter(nonconformance=crack)
    done = {"state": "closed", "disposition": "rework", "verified_by": lead}
    with by_hand():
        for days, kept in ((1, True), (-1, False)):
            closed.update(closed_at=sits.placed_at + timedelta(days=days), **done)
            for what in of:
                assert (name in told(**what)) is kept, what
        closed.update(closed_at=timezone.now(), **done)
    # Also once its part was taken out, and put back.
    remove_part(by=lead, placement=sits, reason="to be painted")
    where = {"airframe": first, "position": sits.position, "part": part}
    back = place_part(by=lead, **where, reason="painted")
    assert back.placed_at > closed.get().closed_at
    for what in of:
        assert name in told(**what), what


def leaves(told, path=()):
    """(path, value) of every single value of a record."""
    if isinstance(told, dict | list):
        for key, one in told.items() if isinstance(told, dict) else enumerate(told):
            yield from leaves(one, (*path, key))
    else:
        yield path, told


def each_kind(record: dict) -> dict[tuple, tuple]:
    """A leaf of each kind of fact that a record holds, and of each that is not empty:
    {kind: path}. A kind is a path without the numbers of rows."""
    found = {}
    for path, value in leaves(record):
        kind = tuple("*" if isinstance(key, int) else key for key in path)
        if kind not in found or (value and not at(record, found[kind])):
            found[kind] = path
    return found


def at(record, path):
    for key in path:
        record = record[key]
    return record


def few(record: dict, paths) -> dict:
    """A record of the rows that are asked for, and their neighbors."""

    def of(rows, *begins):
        kept = {path[len(begins)] for path in paths if path[: len(begins)] == begins}
        return [row for n, row in enumerate(rows) if kept & {n, n - 1}]

    sections = {
        name: of(data, "sections", name)
        if isinstance(data, list)
        else {key: of(rows, "sections", name, key) for key, rows in data.items()}
        for name, data in record["sections"].items()
    }
    lines = of(record["characteristics"], "characteristics")
    return record | {"sections": sections, "characteristics": lines}


@pytest.mark.either_database
def test_whatever_a_pack_tells_is_told_with_what_it_was_where_it_changes(demo_db):
    """One value of each kind that the record holds, walked and not listed."""
    a_photo_of(Part.objects.get(serial="MG-1550-001"))
    pack = pack_of(ordered(), (0, ""), 0)
    record = json.loads(pack.record)
    all_is_in(record, pack)
    record = few(record, each_kind(record).values())
    kinds = each_kind(record)
    assert {kind[1] for kind in kinds if kind[0] == "sections"} == set(
        record["sections"]
    )
    assert len(kinds) > 130
    assert pack_lines.compare(record, record) == Compared(())
    del kinds["form",]
    for kind, path in kinds.items():
        changed = json.loads(json.dumps(record))
        old, row = at(record, path), at(changed, path[:-1])
        row[path[-1]] = 917171 if isinstance(old, int) else "another 917171"
        for was, now, new in ((record, changed, True), (changed, record, False)):
            changes = pack_lines.compare(was, now).changes
            sides = [" ".join((x.before, x.name)) for x in changes]
            told = {True: sides, False: [" ".join((x.now, x.name)) for x in changes]}
            assert any("917171" in side for side in told[not new]), kind
            for piece in str(old).split("; ") if kind[-1] != "sha256" else ():
                assert any(flat(piece) in flat(side) for side in told[new]), (kind, old)
    # And every row that comes or goes.
    for kind, path in kinds.items():
        if "*" not in kind or kind.index("*") < 1:
            continue
        changed = json.loads(json.dumps(record))
        deep = kind.index("*")
        del at(changed, path[:deep])[path[deep]]
        assert pack_lines.compare(record, changed).changes, kind
        assert pack_lines.compare(changed, record).changes, kind


# Drawn, counted or coded from what the record holds; where a file lies; blank boxes.
MADE_OF_IT = {
    *("map", "profile", "plot", "counts", "outcome", "standing", "states"),
    *("path", "width", "height", "boxes"),
}


def all_is_in(record: dict, pack: Pack) -> None:
    """All that the pages are made of is in the record."""
    known = {str(value) for _path, value in leaves(record)}

    def told(thing):
        if isinstance(thing, tuple):
            for one in thing:
                yield from told(one)
        elif is_dataclass(thing):
            for one in fields(thing):
                if one.name not in MADE_OF_IT:
                    yield from told(getattr(thing, one.name))
        elif thing:
            yield str(thing)

    found = set(told(pack.sections))
    assert len(found) > 500
    assert found - known == set()


def test_of_two_forms_only_what_both_carry_is_compared():
    gauge = {"code": "FG-01", "name": "Feeler", "due": "2027-01-01"}
    now = {"form": "pack/2", "shop": "Ours", "unit": "mm", "characteristics": []}
    now["sections"] = {"instruments": [gauge | {"doubt": ""}], "weights": []}
    was = {"form": "pack/1", "lines": {}, "unit": "in", "characteristics": []}
    was["sections"] = {"instruments": [gauge | {"due": "2026-01-01"}], "cures": []}
    compared = pack_lines.compare(was, now)
    assert [(x.name, x.before, x.now) for x in compared.changes] == [
        ("the pack", "unit: in", "unit: mm"),
        (
            "instrument FG-01",
            "calibration due: 2026-01-01",
            "calibration due: 2027-01-01",
        ),
    ]
    assert set(compared.untold) == {
        *("The pack: shop", "Measuring instruments: doubt"),
        *("weights".capitalize(), "Cure traces"),
    }
    # Of one form a fact that one of them lacks has changed.
    compared = pack_lines.compare(was | {"form": "pack/2"}, now)
    assert compared.count == 2 and not compared.untold
    assert "shop: Ours" in compared.changes[0].now


def test_a_text_is_one_fact_and_what_differs_by_spaces_alone_says_so():
    def record(note: str) -> dict:
        return {"form": "pack/2", "note": note, "sections": {}, "characteristics": []}

    def told(was: str, now: str) -> list[tuple[str, str]]:
        changes = pack_lines.compare(record(was), record(now)).changes
        return [(change.before, change.now) for change in changes]

    assert told("bond; paint", "bond; trim") == [
        ("note: bond; paint", "note: bond; trim")
    ]
    assert pack_lines.facts_of("", {"note": "a; b"}) == ["note: a; b"]
    ((before, now),) = told("bond  line", "bond line ")
    assert before == "note: bond  line" and now.endswith("(only spaces differ)")
    assert told("", "  ") == [("note: –", "note: only spaces")]
    assert "only spaces differ" not in told("bond line", "bondline")[0][1]


def test_rows_of_two_tables_that_are_called_alike_are_both_read_and_have_a_link():
    named = {"what": "a shim", "number": "J-7", "joint": "J-7"}
    sections = {"temporary_items": [named], "joints": [named], "cures": []}
    line = dict.fromkeys(pack_record.FIELDS.values(), "") | {"number": "J-7"}
    record = {"form": "pack/2", "sections": sections, "characteristics": [line]}
    sections["other_characteristics"] = ["J-7"]
    lines = reading._others(record, {})
    assert [(line.name, line.table) for line in lines] == [
        ("J-7 (2)", "Temporary items, in and out"),
        ("J-7 (3)", "Joints"),
    ]


def test_what_was_remarked_on_a_line_of_the_older_form_stays_with_what_it_told():
    """That form kept the text of each line by names that are others now."""
    line = dict.fromkeys(pack_record.FIELDS.values(), "") | {"number": "J-7.1G"}
    long = f"stands: {'long ' * 60}"
    lines = {"weight MG-1": "never weighed", long: "still in", "J-7.1G": "1.40"}
    record = {"form": "pack/1", "lines": lines, "sections": {}}
    record["characteristics"] = [line, line]
    # The second of two numbers that are the same is shown as the first, by its number.
    names = ("weight MG-1", long[:200], "J-7.1G", "J-7.1G (2)", reading.WHOLE)
    found = reading._others(record, {name: [f"on {name}"] for name in names})
    assert {each.table for each in found} == {"Lines of the older form, remarked on"}
    assert [(each.name, each.facts, each.remarks) for each in found] == [
        ("weight MG-1", ("never weighed",), ("on weight MG-1",)),
        (long[:200], ("still in",), (f"on {long[:200]}",)),
        ("J-7.1G (2)", (), ("on J-7.1G (2)",)),
    ]


def test_an_inspection_keeps_the_certificate_that_its_inspector_held_then(demo_db):
    def told() -> tuple[list[str], int]:
        scope = scope_of(ordered())
        assert scope.offered and scope.standings
        with CaptureQueriesContext(connection) as found:
            lines = list(signed._lines(scope))
        by_ines = [line for line in lines if line.by.startswith("Ines")]
        return [line.certificate for line in by_ines], len(found)

    said = {"by": Person.objects.get(username="lena")}
    before, statements = told()
    assert statements == 1
    assert set(before) == {"shop inspector, composites MG-QI-07"}
    for username in ("ines", "emil"):
        said["person"] = Person.objects.get(username=username)
        for number in ("MG-QI-98", "MG-QI-99"):
            set_certificate(**said, certificate_kind="later", certificate_number=number)
    assert told() == (before, statements)
    # What is inspected from now on has the one that is held now.
    newest = Entry.objects.filter(by__username="ines").latest("pk")
    held = signed.Certificates.since([newest.pk])
    assert held.at(newest) == "later MG-QI-99"


def test_nothing_of_a_long_change_is_cut_off_and_the_first_page_has_its_box(demo_db):
    story = [["now", "Bea", "said", f"word{n} " * 12] for n in range(90)]
    story.append(["now", "Bea", "said", " ".join(f"very{n}" for n in range(900))])
    row = {"label": "NC-7", "story": story[:1]}
    was = {"form": "x", "characteristics": [], "sections": {"nonconformances": [row]}}
    now = was | {"sections": {"nonconformances": [row | {"story": story}]}}
    pack = pack_of(ordered(joint=Joint.objects.get(number="J-170")), (0, ""), 0)
    other = replace(pack.changes, compared=pack_lines.compare(was, now))
    # Nor does the box of the inspector leave the first page.
    many = tuple(f"condition or source {n}, {'so stated ' * 9}" for n in range(40))
    for paper_size in ("a4", "letter"):
        made = replace(pack, changes=other, paper=paper_size)
        made = replace(made, conditions=many, sources=many, note="as asked " * 20)
        first, *rest = words_of(paper.render(made, press.FILES)[0])
        for word in ("condition or source 0", "In which", "By which", "rejected"):
            assert word in first
        assert "Certificate number and kind" in first and "each in the table" in first
        told = " ".join(rest)
        words = set(re.findall("(?:very|word)[0-9]+", told))
        assert words == {f"word{n}" for n in range(1, 90)} | {
            f"very{n}" for n in range(900)
        }


def test_of_a_bay_that_holds_nothing_no_pack_claims_that_it_can_be_closed(demo_db):
    kind = Airframe.objects.get(serial="MG2-001").type
    with perform("test/1", by=Person.objects.get(username="emil")):
        bay = Position.objects.create(type=kind, code="Z", name="Z", path="Z")
    pack = pack_of(ordered(bay=bay), (0, ""), 0)
    told = " ".join(words_of(paper.render(pack, press.FILES)[0]))
    assert "1 thing still stands between this and closed" in told
    assert "holds no part" in told
    assert "Nothing that is on record" not in told


def test_a_pack_says_that_its_note_has_signs_that_the_paper_cannot_print(demo_db):
    order = ordered(joint=Joint.objects.get(number="J-170"))
    pack = pack_of(order, (0, ""), 0)
    for note, lossy in (("for 日本", True), ("is it so?", False)):
        told = " ".join(
            words_of(paper.render(replace(pack, note=note), press.FILES)[0])
        )
        assert ("this paper cannot print" in told) == lossy


def test_files_that_were_changed_on_disk_are_not_given_out_and_not_signed(
    demo_db, client
):
    client.force_login(Person.objects.get(username="ines"))
    pack = IssuedPack.objects.order_by("-pk")[0]
    number = pack.order.number
    for name, urls in (
        (pack.file_name, ("pack_pdf", "pack_signed_inside")),
        (pack.record_name, ("read_pack", "remark_on_pack")),
        (pack.signature_name, ("pack_signature",)),
    ):
        path = settings.MEDIA_ROOT / name
        path.write_bytes(path.read_bytes().replace(b"1", b"2", 1))
        for url in urls:
            answer = client.get(reverse(url, args=[number]), follow=True)
            assert answer.redirect_chain and "was changed on disk" in (
                answer.content.decode()
            ), url
    # A newer issue holds nothing against a record that nobody can trust.
    third = pack_of(ordered(joint=pack.order.joint), (0, ""), 0)
    assert not third.changes.compared.changes
    assert "changed on disk" in third.changes.why
    (settings.MEDIA_ROOT / pack.file_name).unlink()
    assert client.get(reverse("pack_pdf", args=[number])).status_code == 404


def a_photo_of(part: Part):
    picture = io.BytesIO()
    Image.new("RGB", (60, 40), "navy").save(picture, "PNG")
    return add_photo(
        by=Person.objects.get(username="bea"),
        subject_kind="part",
        subject_id=str(part.pk),
        content=picture.getvalue(),
    )


@pytest.mark.either_database
def test_a_photo_that_was_changed_on_disk_is_not_shown(demo_db):
    order = ordered(joint=Joint.objects.get(number="J-170"))
    kept = a_photo_of(Part.objects.get(serial="MG-1550-001"))
    path = settings.MEDIA_ROOT / kept.file_name
    for change, told in (
        (None, "MG-1550-001"),
        (b"another picture", "was changed on disk"),
        (b"", "was changed on disk"),
    ):
        if change is not None:
            path.write_bytes(change)
        pack = pack_of(order, (0, ""), 0)
        pages = " ".join(words_of(paper.render(pack, press.FILES)[0]))
        assert told in pages.split("Photos 1")[1]
        assert ("was changed on disk" in pages) == (change is not None)
    path.unlink()
    pack = pack_of(order, (0, ""), 0)
    assert "photo is gone" in " ".join(words_of(paper.render(pack, press.FILES)[0]))


def test_a_pack_is_printed_without_the_mark_that_was_damaged_and_says_so(demo_db):
    picture = io.BytesIO()
    Image.new("RGB", (60, 40), "navy").save(picture, "PNG")
    shop = set_identity(
        by=Person.objects.get(username="lena"),
        name="Fayline demo",
        time_zone="UTC",
        units="mm",
        paper="a4",
        picture=picture.getvalue(),
    )
    order = ordered(joint=Joint.objects.get(number="J-170"))
    path = settings.MEDIA_ROOT / shop.mark_name
    for damage, words in (
        (lambda: path.write_bytes(b"no picture"), "mark was changed on disk"),
        (path.unlink, "mark is gone"),
    ):
        damage()
        pack = pack_of(order, (0, ""), 0)
        assert words in " ".join(words_of(paper.render(pack, press.FILES)[0]))


def test_only_the_same_record_is_told_to_be_unchanged(demo_db):
    joint = Joint.objects.get(number="J-170")
    with by_hand():
        AirframeType.objects.filter(pk=joint.type_id).update(code="MG2B")
    pack = pack_of(ordered(joint=joint), (0, ""), 0)
    (only,) = pack.changes.compared.changes
    assert only == Change("The pack", "the pack", "type: MG-2", "type: MG2B")
    assert not pack.changes.same
    # Of two forms what both have is the same; that is not said to be all.
    other = replace(pack.changes, compared=Compared((), ("Photos: not shown",)))
    pdf = paper.render(replace(pack, changes=other), press.FILES)[0]
    told = " ".join(words_of(pdf))
    assert "only one of both has it: Photos: not shown" in told
    assert "No line differs; the records differ" in told
    assert "Nothing that this pack tells has changed" not in told


def test_of_an_airframe_no_serial_without_a_weight_or_an_arm_is_cut_off(demo_db):
    pack = pack_of(ordered(joint=Joint.objects.get(number="J-170")), (0, ""), 0)
    serials = [f"MG-{number}-001" for number in range(1000, 1400)]
    total = [("without a weight", ", ".join(serials[::2]))]
    total.append(("without an arm", ", ".join(serials[1::2])))
    for total_told in (total, total[::-1]):
        section = weights.Weights((), (), tuple(total_told))
        pdf = paper.render(replace(pack, sections=(section,)), press.FILES)[0]
        told = " ".join(words_of(pdf))
        assert [serial for serial in serials if serial not in told] == []


def test_two_weighings_of_a_day_are_two_lines(demo_db):
    part = Part.objects.get(serial="MG-1550-001")
    said = {"part": part, "stage": "finished", "scale": "bench scale"}
    said["by"] = Person.objects.get(username="tomas")
    joint = Joint.objects.get(number="J-170")

    def weighed() -> dict[str, dict]:
        data = weights.section(scope_of(ordered(joint=joint))).data
        record = {"sections": {"weights": data}, "characteristics": []}
        return pack_lines.rows_of(record)["weights.weighings"]

    before = weighed()
    for text in ("213", "214"):
        weigh_part(**said, mass=grams(text), weighed_on=timezone.localdate())
    told = weighed()
    new = [row["mass"] for name, row in told.items() if before.get(name) != row]
    assert sorted(new) == ["0.213 kg", "0.214 kg"]
    assert pack_lines.keyed([("a", "x"), ("a", "y"), ("a (2)", "z")]) == {
        "a": "x",
        "a (2)": "y",
        "a (2) (2)": "z",
    }


def test_what_fails_never_says_that_no_item_was_raised(demo_db):
    pack = IssuedPack.objects.order_by("pk")[0]
    pattern = HolePattern.objects.get(number="HP-101")
    record_holes(
        by=Person.objects.get(username="bea"),
        revision=pattern.current,
        part=Part.objects.get(serial="MG-1210-001"),
        measured=[MeasuredHole("1", "-40", "0", "5.1")],
    )
    scope = scope_of(ordered())
    lines = [line for one in holes.section(scope).checks for line in one.lines]
    lines += closing.proven_section(scope).lines
    failing = [
        one
        for one in lines
        if states.fails(one.state) or one.state == "does_not_conform"
    ]
    named = {one.number: one.nonconformance for one in failing}
    assert {"/" in number for number in named} == {True, False}
    by = Person.objects.get(username="ines")
    items = {}
    for number in named:
        line = dict.fromkeys(("joint", "station", "requirement"), "")
        line |= {"name": number, "told": "fails"}
        remark = remark_on_pack(by=by, pack=pack, line=line, text="not as required")
        items[number] = remark.item.label
    scope = scope_of(ordered())
    lines = [line for one in holes.section(scope).checks for line in one.lines]
    lines += closing.proven_section(scope).lines
    now = {one.number: one.nonconformance for one in lines}
    assert "none raised" not in [*named.values(), *now.values()]
    for number, label in items.items():
        assert label in now[number].split(", ")


def test_a_line_that_fails_names_the_item_of_just_that_hole_or_characteristic(demo_db):
    """Of two patterns on one serial, both with a hole 1, and of a bay without a part or
    joint, with a bay beside it."""
    bea = Person.objects.get(username="bea")
    emil = Person.objects.get(username="emil")
    part = Part.objects.get(serial="MG-1210-001")
    first = HolePattern.objects.get(number="HP-101")
    second = define_pattern(
        by=emil,
        number="HP-900",
        name="Beside it",
        design=part.design,
        holes=[HoleDraft("1", 0, 0, 300_000, None, None, None, None)],
        says=PatternHead(),
    )
    checks = [
        record_holes(
            by=bea,
            revision=HolePattern.objects.get(pk=pattern.pk).current,
            part=part,
            measured=[MeasuredHole("1", "9", "0", "5.1")],
        )
        for pattern in (first, second)
    ]
    items = [raise_holes(by=bea, check=checks[0])]

    def named(scope):
        lines = [line for one in holes.section(scope).checks for line in one.lines]
        lines += closing.proven_section(scope).lines
        return {line.number: line.nonconformance for line in lines}

    told = named(scope_of(ordered()))
    assert told[f"{part.serial}/HP-101.1"] == items[0].label
    assert told[f"{part.serial}/HP-900.1"] == "see nonconformances"
    items.append(raise_holes(by=bea, check=checks[1]))
    told = named(scope_of(ordered()))
    assert told[f"{part.serial}/HP-900.1"] == items[1].label

    airframe = Airframe.objects.get(serial="MG2-001")
    bays = [make_position(emil, type=airframe.type) for _ in range(2)]
    required = {"low": "4", "high": "4"}
    rows = [
        planned({"engineer": emil}, "count", bay, **required)
        for bay in bays
        for _ in "ab"
    ]
    for row in rows[1:]:
        result = found({"builder": bea}, row, airframe, "3")
        item = row != rows[1] and raise_result(by=bea, result=result)
    told = named(scope_of(ordered(bay=bays[1])))
    assert told[rows[3].number] == item.label and item.label not in told[rows[2].number]
    assert told[rows[2].number]
    told = named(scope_of(ordered(bay=bays[0])))
    assert item.label not in told[rows[1].number]


def test_holes_read_again_in_part_are_told_as_a_close_out_reads_them(demo_db):
    part = Part.objects.get(serial="MG-1210-001")
    pattern = HolePattern.objects.get(number="HP-101")

    def told():
        found = holes.section(scope_of(ordered(joint=pattern.joint))).checks
        (one,) = (x for x in found if x.serial == part.serial)
        return one.label, {line.location: line.state for line in one.lines}

    before, was = told()
    check = record_holes(
        by=Person.objects.get(username="bea"),
        revision=pattern.current,
        part=part,
        measured=[MeasuredHole("1", "-40", "0", "5.1")],
    )
    label, now = told()
    assert label == f"{before}, {check.label}"
    assert was["1"] == "conforms" and now == was | {"1": "does_not_conform"}
    assert len(now) > 1 and "not_measured" not in now.values()
    there = close_out_records.load(Airframe.objects.get(serial="MG2-001")).patterns
    read = [one for x in there if x.pattern == pattern for _check, one in x.checks]
    assert {one.hole.label for rows in read for one in rows} == set(now)


def test_what_the_inspector_read_stands_beside_what_was_offered(demo_db):
    scope = scope_of(ordered())
    row = next(
        standing.offered
        for standing in scope.standings.values()
        if standing.state == "offered"
    )
    station = row.fit_up.revision.stations.first()
    second = inspections.read_again(
        by=Person.objects.get(username="ines"),
        offered=row, station=station.label, kind="gap", value="0.01", unit="mm",
        instrument=Instrument.objects.order_by("pk")[0],
    )  # fmt: skip
    assert second.verdict == "does_not_conform"
    (joint,) = (
        one
        for one in joints.section(scope_of(ordered())).joints
        if one.number == row.joint.number
    )
    line = next(
        one
        for one in joint.lines
        if (one.location, one.designator) == (station.label, "gap")
    )
    assert "read again by Ines" in line.comment, line.comment
    assert ": 0.01, does not conform" in line.comment
    used = {
        one.code: one.used for one in instruments.section(scope_of(ordered())).lines
    }
    assert second.label in used[second.instrument.code]
    # Of what has changed since, it says nothing.
    refit(Person.objects.get(username="emil"), row.fit_up)
    assert (row.joint_id, station.label, "gap") not in scope_of(ordered()).seconds


@pytest.mark.either_database
def test_a_drawing_that_differs_is_named_where_no_line_differs(demo_db):
    joint = Joint.objects.get(number="J-170")

    def told() -> tuple[dict, joints.PackJoint]:
        pack = pack_of(ordered(joint=joint), (0, ""), 0)
        (shown,) = next(x for x in pack.sections if isinstance(x, Joints)).joints
        return json.loads(pack.record), shown

    was, shown = told()
    station = Station.objects.filter(revision=joint.current).first()
    drop_what_guards()
    Station.objects.filter(pk=station.pk).update(x_nm=station.x_nm + 5_000_000)
    changes = pack_lines.compare(was, told()[0]).changes
    assert {(change.table, change.name) for change in changes} == {("Joints", "J-170")}
    for drawn in ("drawing of the map (digest", "drawing of the profile (digest"):
        assert any(drawn in change.before for change in changes)
    # What was read there is told by its line, and by nothing else.
    read = {"gap_text": "9.99", "gap_state": "above", "active": True}
    marked = tuple(replace(station, **read) for station in shown.map.stations)
    other = replace(shown.map, stations=marked)
    drawn = joint_maps.as_drawn(shown.map, shown.profile)
    assert joint_maps.as_drawn(other, shown.profile) == drawn


@pytest.mark.either_database
def test_the_map_of_a_joint_marks_where_a_defect_was_seen(demo_db):
    joint = Joint.objects.get(number="J-101")
    item = raise_by_hand(
        by=Person.objects.get(username="bea"),
        airframe=Airframe.objects.get(serial="MG2-001"),
        joint=joint,
        stations="3 to 5",
        title="void beside the hinge",
    )
    pack = pack_of(ordered(joint=joint), (0, ""), 0)
    (one,) = next(x for x in pack.sections if isinstance(x, Joints)).joints
    assert {x.label for x in one.map.stations if x.active} >= {"3", "4", "5"}
    told = f"{item.label} void beside the hinge: stations 3–5"
    assert told in one.marked
    assert told in " ".join(words_of(paper.render(pack, press.FILES)[0]))


def test_a_remark_on_a_long_line_keeps_as_much_of_its_name_as_there_is_room(demo_db):
    pack = IssuedPack.objects.order_by("pk")[0]
    line = dict.fromkeys(("joint", "station", "requirement", "told"), "")
    line["name"] = f"stands: {'long ' * 60}"
    by = Person.objects.get(username="ines")
    remark = remark_on_pack(by=by, pack=pack, line=line, text="is done")
    remark.refresh_from_db()
    assert remark.line == line["name"][:200]
    assert line["name"].strip() in remark.item.note


def test_who_did_the_work_of_a_pack_a_plan_or_a_pull_does_not_inspect_it(demo_db):
    pack = IssuedPack.objects.order_by("-pk")[0]
    plan = FitPlan.objects.filter(made_cuts__isnull=False)[0]
    correction = ToolCorrection.objects.all()[0]
    pull = Pull.objects.filter(demold__isnull=False)[0]
    at = {"fit_up__joint": pack.order.joint, "fit_up__airframe": pack.order.airframe}
    for kind, row, did in (
        ("pack", pack, {one.entry.by for one in Check.objects.filter(**at)}),
        ("plan", plan, {plan.entry.by, plan.made_cuts.all()[0].entry.by}),
        ("correction", correction, {correction.entry.by}),
        ("pull", pull, {pull.demold.entry.by}),
    ):
        signable, content = signing_rules.content_of(kind, row.pk)
        assert did and {one.pk for one in did} <= set(content.doers())
        for one in did:
            one.role = "inspector"
            why = signing_rules.refusal(signable, content, "inspected", one)
            assert "somebody else signs" in why
    assert Person.objects.get(username="ines").pk not in (
        signing_rules.content_of("pack", pack.pk)[1].doers()
    )


def test_who_laid_a_ply_read_a_hole_or_proved_something_of_a_pack_did_its_work(demo_db):
    part = Part.objects.get(serial="MG-1210-001")
    bay = part.placements.get(removed_at=None).position
    layer, reader, prover = (newcomer(name) for name in ("ply", "hole", "proof"))
    add_plies_to(part, layer)
    record_holes(
        by=reader,
        revision=HolePattern.objects.get(number="HP-101").current,
        part=part,
        measured=[MeasuredHole("1", "-40", "0", "4.1")],
    )
    people = {"engineer": Person.objects.get(username="emil"), "prover": prover}
    row = planned(people, "count", bay=bay, low="1")
    found(people, row, Airframe.objects.get(serial="MG2-001"), "1", by="prover")
    for what in ({"part": part}, {"bay": bay}, {}):
        pack = signed_packs._doers(ordered(**what))
        assert {layer.pk, reader.pk, prover.pk} <= pack, what


def newcomer(name: str) -> Person:
    """A builder who did nothing yet."""
    by = Person.objects.get(username="lena")
    of = {"name": name, "role": "builder", "password": PASSWORD}
    return add_person(by=by, username=name, **of)


def add_plies_to(part: Part, layer: Person) -> None:
    """Let the part come (also) from a pull in which somebody laid a ply."""
    pull = make_pull(Person.objects.get(username="lena"), reason="for a test")
    lay_all(layer, pull, reason="for a test")
    with perform("test/1", by=Person.objects.get(username="emil")) as act:
        act.record(Lineage(part=part, kind="pulled", pull=pull))


def test_the_ledger_names_a_pack_whose_file_was_changed(demo_db):
    assert verify().faults == ()
    pack = IssuedPack.objects.order_by("pk")[0]
    path = file_of(pack)
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    named = f"qa_issuedpack {pack.pk}: its file"
    assert verify().faults == (f"{named} holds another content",)


def test_its_signature_is_that_of_exactly_these_bytes(demo_db, tmp_path):
    """By another program: openssl."""
    pack = IssuedPack.objects.order_by("pk")[0]
    signature, own = tmp_path / "pack.p7s", tmp_path / "authority.pem"
    signature.write_bytes(kept_packs.signature_of(pack))
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

    assert tried(file_of(pack)) == 0
    other = tmp_path / "other.pdf"
    wrong = bytearray(file_of(pack).read_bytes())
    wrong[len(wrong) // 2] ^= 1
    other.write_bytes(wrong)
    assert tried(other) != 0


def test_the_command_writes_what_it_issued_and_tells_its_sha256(demo_db, tmp_path):
    out, told = tmp_path / "door.pdf", io.StringIO()
    call_command(
        *("pack", "mg2-001", "--joint", "j-101", "--out", str(out), "--by", "ines"),
        stdout=told,
    )
    lead = Person.objects.get(username="emil")
    kind = Airframe.objects.get(serial="MG2-001").type
    with perform("test/1", by=lead):
        for line, serial in enumerate(("ZZ-1", "Zz-1"), 50):
            Airframe.objects.create(type=kind, serial=serial, line_number=line)
    data = out.read_bytes()
    assert f"sha256 {hashlib.sha256(data).hexdigest()}" in told.getvalue()
    assert "PK-0003 issue 1" in told.getvalue()
    assert (tmp_path / "door.pdf.p7s").is_file()
    for wrong, why in (
        (("MG2-77", "--by", "ines"), "no airframe MG2-77"),
        (("MG2-001", "--joint", "J-1", "--by", "ines"), "no joint J-1"),
        (("zz-1", "--by", "ines"), "any of ZZ-1, Zz-1, .* name it as it is written"),
        (("MG2-001", "--by", "nobody"), "nobody here is called"),
        (("MG2-001", "--by", "bea"), "Only these roles may issue packs"),
        (("MG2-001", "--by", "ines", "--note", "n" * 500), "--note: .* 400 signs"),
        (("MG2-001", "--by", "ines", "--address", "ftp://x"), "no http or https"),
        (("MG2-001", "--by", "ines", "--address", "hall.lan"), "no http or https"),
    ):
        with pytest.raises(CommandError, match=why):
            call_command("pack", *wrong, "--out", str(out))
    assert out.read_bytes() == data
    for place in (tmp_path, tmp_path / "nowhere" / "door.pdf", ".", "/", ".."):
        with pytest.raises(CommandError, match="folder"):
            call_command("pack", "MG2-001", "--by", "ines", "--out", str(place))
    assert PackOrder.objects.count() == 3


@pytest.mark.either_database
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
    typed = f"{digest[:8].upper()} {digest[8:16].upper()}"
    told = client.get(reverse("pack_page", args=[number, typed])).content.decode()
    assert "is of an issued pack" in told
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
    # Each line has a link that leads to a form for it.
    for page in (read, rest):
        links = re.findall(rf'href="({address}[^"]+)"', page.content.decode())
        assert len(links) > 10
        for link in links[::5]:
            assert client.get(unescape(link)).status_code == 200
    asked = f"{address}?part=J-170&line=J-170.1G"
    empty = client.post(asked, {"text": " "})
    assert empty.status_code == 200 and not PackRemark.objects.exists()
    client.post(asked, {"text": "measured over the paint"})
    again = client.post(asked, {"text": "measured over the paint "})
    long = client.post(asked, {"text": "x" * 1001})
    remark = PackRemark.objects.get()
    item = remark.item
    assert f"You wrote this already: it is {item.label}." in again.content.decode()
    assert "at most 1000 signs: these are 1001" in long.content.decode()
    assert (item.title, item.source) == ("measured over the paint", "inspection")
    assert item.joint.number == "J-170" and item.stations == ["1"]
    assert "1.40" in item.found and pack.order.label in item.note
    read = client.get(reverse("read_pack", args=[number]), {"part": "J-170"})
    assert item.label in read.content.decode()
    story = " ".join(f"word{n}" for n in range(120))
    client.post(asked, {"text": story})
    told = PackRemark.objects.latest("pk")
    assert told.text == story and told.item.note.startswith(f"{story}\n")
    assert len(told.item.title) <= 200 and told.item.title.endswith(" …")
    assert story.startswith(told.item.title.removesuffix("…"))
    assert client.get(f"{address}?part=J-170&line=J-999.1G").status_code == 404
    client.post(address, {"text": "page 3 is smudged"})
    assert PackRemark.objects.last().line == "the pack whole"
    # The pack itself stays as it was.
    assert verify().faults == ()


def test_a_remark_that_one_person_sends_twice_at_once_is_one_item(committed_db):
    people = make_people()
    row, *_rest = accepted(people)
    order = order_pack(by=people["inspector"], airframe=row.offer.airframe)
    files = Printed(
        pdf=b"%PDF-1.7 of a test", record=b"{}", pages=1, head=(1, ""), unsealed=0
    )
    pack = issue_pack(
        by=people["inspector"],
        order=order,
        printed=files,
        signed=Signed(signature=b"none", signer="a test"),
    )
    line = dict.fromkeys(("joint", "station", "requirement", "told"), "")
    said = {"by": people["inspector"], "pack": pack, "text": "is too tight"}

    def remark():
        remark_on_pack(line=line | {"name": "J-101.1G"}, **said)

    assert at_once(remark, remark, remark) == ["done", "done", "won"]
    assert PackRemark.objects.count() == Nonconformance.objects.count() == 1
    said["by"] = people["lead"]
    remark()  # another person means it too
    assert PackRemark.objects.count() == 2


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


def test_a_press_that_died_is_told_and_what_it_left_another_may_issue(demo_db):
    order = ordered(joint=Joint.objects.get(number="J-170"))
    printed(order)
    folder = press.folder_of(order)
    kept = {path: path.read_bytes() for path in folder.iterdir()}
    long_ago = time.time() - press.SILENCE - 1
    (folder / "printed.json").unlink()
    press._tell(folder, words="drawing", done=10, total=20)
    assert not press.progress_of(order).failed
    os.utime(folder / "alive", (long_ago, long_ago))
    assert press.progress_of(order).failed == "the press was stopped before it was done"
    for path, data in kept.items():
        path.write_bytes(data)
    assert press.progress_of(order).printed
    ines = Person.objects.get(username="ines")
    ines.role = "builder"
    with by_hand():
        ines.save()
    order.entry.by.refresh_from_db()
    with pytest.raises(PermissionDenied):
        press.take(order, by=order.entry.by)
    # What lies there is issued only as it was made.
    (folder / "pack.pdf").write_bytes(b"%PDF-1.7 another")
    lead = Person.objects.get(username="emil")
    with pytest.raises(Refused, match="not what the press made"):
        press.take(order, by=lead)
    (folder / "pack.pdf").write_bytes(kept[folder / "pack.pdf"])
    assert press.take(order, by=lead).entry.by == lead


def test_what_is_table_and_record_is_made_from_the_same_lines():
    line = dict.fromkeys(pack_record.FIELDS.values(), "") | {"comment": "=1+1"}
    record = pack_record.record_of({"characteristics": [line]})
    assert "'=1+1" in pack_record.table_of(record)
    with pytest.raises((KeyError, ValueError)):
        pack_record.table_of(b"{}")


@pytest.mark.either_database
def test_a_pack_is_archival_and_tagged_to_be_read_aloud(whole):
    """By the allowlist of pikepdf's validator; poppler reads one aloud in
    test_paper_sheets."""
    _order, pdf = whole
    assert archival.validated(pdf) == []
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert reader.trailer["/Root"]["/Lang"] == "en-US"
    root = reader.trailer["/Root"]["/StructTreeRoot"]
    whole = [one.get_object() for one in root["/K"]["/K"]]
    kinds = {"/H1", "/H2", "/H3", "/P", "/Figure", "/Table"}
    assert {one["/S"] for one in whole} == kinds
    figures = [one for one in whole if one["/S"] == "/Figure"]
    assert figures and all(one["/Alt"] for one in figures)
    tables = [one for one in whole if one["/S"] == "/Table"]
    assert len(tables) > 20
    for table in tables:
        first, *rows = [
            [cell.get_object()["/S"] for cell in row.get_object()["/K"]]
            for row in table["/K"]
        ]
        assert set(first) == {"/TH"} and rows
        assert all(row == ["/TD"] * len(first) for row in rows)
    # Every marked run of a page is an element, in its place.
    for page, runs in zip(
        reader.pages, root["/ParentTree"]["/Nums"][1::2], strict=True
    ):
        marked = re.findall(rb"/MCID (\d+)", page.get_contents().get_data())
        assert [int(run) for run in marked] == list(range(len(runs.get_object())))
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
    path.write_bytes(file_of(pack).read_bytes())
    (tmp_path / "brought.pdf.p7s").write_bytes(kept_packs.signature_of(pack))
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
    assert (code, "neither the one given" in told) == (3, True)
    assert "SIGNED BY ANOTHER" in told and "ALTERED" not in told
    options = ("--json", "--certificate", str(tmp_path / "other.pem"))
    answer = json.loads(checked(brought, *options)[1])
    assert (answer["intact"], answer["by_certificate"]) == (False, False)


def test_only_a_certificate_for_papers_signs_a_pack_for_its_authority(
    brought, tmp_path
):
    """The server's own is by the same authority, and signs nothing."""
    own, now = certificates.shop_authority(), certificates.utc_now()
    beside = brought.with_name("brought.pdf.p7s")
    kept = beside.read_bytes()
    told = checked(brought)[1]
    assert told.startswith("Signed by somebody who calls himself ")
    server = authority.make_server(own, ["localhost"], now)

    def signed_by(who) -> bytes:
        builder = pkcs7.PKCS7SignatureBuilder().set_data(brought.read_bytes())
        builder = builder.add_signer(who.certificate, who.key, hashes.SHA256())
        options = [pkcs7.PKCS7Options.DetachedSignature, pkcs7.PKCS7Options.Binary]
        return builder.sign(Encoding.DER, options)

    beside.write_bytes(signed_by(server))
    code, told = checked(brought, "--certificate", str(tmp_path / "own.pem"))
    assert (code, "not one for signing papers" in told) == (3, True)
    beside.write_bytes(kept)
    # An issuer that does not say whether it may issue: nothing can be tried by it.
    name = authority.common_name("No limits")
    bare = (authority.start(name, name, own.key.public_key(), now, own.expires)).sign(
        own.key, hashes.SHA256()
    )
    (tmp_path / "bare.pem").write_bytes(bare.public_bytes(Encoding.PEM))
    issuer = authority.Identity(bare, own.key)
    beside.write_bytes(signed_by(signing.make_identity(issuer, now)))
    code, told = checked(brought, "--certificate", str(tmp_path / "bare.pem"))
    assert (code, "does not say whether it may issue" in told) == (3, True)
    signer = signed_file.signer_of(brought.read_bytes(), kept)
    signed_file.require_by(signer, own.certificate)
    for at in ("2001-01-01 00:00:00+00:00", ""):
        with pytest.raises(signed_file.ForeignSignature, match="when"):
            signed_file.require_by(replace(signer, at=at), own.certificate)


@pytest.mark.either_database
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


@pytest.mark.either_database
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

    # A page that is put elsewhere, left out or there twice prints the same digest.
    def swap(pdf):
        pdf.pages.append(pdf.pages[1])
        del pdf.pages[1]

    told = altered(swap)
    assert "page 2: says that it is sheet 3 of" in told and "page 1:" not in told
    told = altered(lambda pdf: pdf.pages.__delitem__(-1))
    assert "page 1: says that it is sheet 1 of" in told
    told = altered(lambda pdf: pdf.attachments.__delitem__("issue.json"))
    assert "issue.json: not attached" in told


@pytest.mark.either_database
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


def by_another_program(data: bytes, who) -> bytes:
    """A signature inside as others write one: more attributes, none of its issuers."""
    key = who.key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    signer = signers.SimpleSigner(
        signing_cert=asn1.Certificate.load(who.der),
        signing_key=keys.PrivateKeyInfo.load(key),
        cert_registry=SimpleCertificateStore(),
    )
    told = signers.PdfSignatureMetadata(field_name="Other", md_algorithm="sha256")
    out, writer = io.BytesIO(), IncrementalPdfFileWriter(io.BytesIO(data))
    # It wants a loop of its own, and a browser's may run in this thread.
    with ThreadPoolExecutor(1) as own_thread:
        own_thread.submit(signers.sign_pdf, writer, told, signer, output=out).result()
    return out.getvalue()


@pytest.mark.either_database
def test_a_good_signature_by_another_is_not_told_to_be_an_altered_pack(
    brought, tmp_path
):
    """Inside as well as beside, whether the shop's certificate is named or not."""
    now = certificates.utc_now()
    other = authority.make_authority("Other", [], now)
    who = signing.make_identity(other, now)
    data, path = brought.read_bytes(), tmp_path / "inside.pdf"
    named = ("--certificate", str(tmp_path / "own.pem"))
    for whole in (data, signing.signed_inside(data)):
        path.write_bytes(by_another_program(whole, who))
        for options in (named, ()):
            code, told = checked(path, *options)
            assert (code, "ALTERED" in told) == (3, False), told
            assert ("Other, papers" in told) == bool(options), told
        assert "signed by another" in checked(path)[1]
    # What only a copy of the shop's own may not hold is altered in it, and named.
    inside = bytearray(signing.signed_inside(data))
    begins = inside.rindex(b"/Contents <") + 11
    capital = next(n for n in range(begins, len(inside)) if inside[n] in b"ABCDEF")
    inside[capital] |= 32
    path.write_bytes(inside)
    code, told = checked(path, *named)
    assert (code, "digits are not in capitals" in told) == (1, True), told
    # A pack that is altered and signed anew by another is altered.
    with pikepdf.open(io.BytesIO(data)) as pdf:
        del pdf.attachments["issue.json"]
        pdf.save(path)
    path.write_bytes(by_another_program(path.read_bytes(), who))
    code, told = checked(path, *named)
    assert (code, "issue.json" in told, "Other, papers" in told) == (1, True, True)


@pytest.mark.either_database
def test_no_flipped_bit_of_a_signature_is_passed_over(brought, tmp_path):
    """Nor one in what its digests leave out: 0 is never told, and never a traceback."""
    data, beside = brought.read_bytes(), brought.with_name("brought.pdf.p7s")
    whole = beside.read_bytes()
    own = certificates.shop_authority().certificate
    for at in range(0, len(whole), 7):
        wrong = bytearray(whole)
        wrong[at] ^= 1 << at % 8
        try:
            signer = signed_file.signer_of(data, bytes(wrong), ((), (own,))[at % 2])
        except signed_file.UnreadableSignature as why:
            assert str(why)
        else:
            assert signer is None
    beside.write_bytes(whole + b"\0")
    code, told = checked(brought)
    assert (code, "cannot be read" in told) == (3, True)


@pytest.mark.either_database
def test_nothing_in_the_place_of_a_signature_inside_may_be_another(brought):
    """The digest leaves it out, all of it: the digits, their case, the zeros behind."""
    data = signing.signed_inside(brought.read_bytes())
    found = list(re.finditer(rb"/Contents <([0-9A-Fa-f]{1000,})>", data))
    begins, end = found[-1].span(1)
    used = len(data[begins:end].rstrip(b"0"))
    assert embedded_signature.embedded_signer(data)[0]
    capital = next(at for at in range(begins, end) if data[at] in b"ABCDEF")

    def told(at: int, byte: int):
        wrong = bytearray(data)
        wrong[at] = byte
        try:
            return embedded_signature.embedded_signer(bytes(wrong))
        except signed_file.UnreadableSignature as why:
            return None, str(why)

    places = [*range(begins, begins + used, used // 16), begins + used + 1, end - 1]
    flips = [(at, data[at] ^ 1) for at in (begins - 1, *places, end)]
    flips += [(at, ord("0") if data[at] != ord("0") else ord("8")) for at in places]
    flips += [(capital, data[capital] | 32), (end - 2, ord(" ")), (end - 3, ord("A"))]
    for at, byte in flips:
        signer, why = told(at, byte)
        assert signer is None and why, at


@pytest.mark.either_database
def test_who_is_given_stands_for_an_issuer_that_a_signature_does_not_carry(
    brought, tmp_path
):
    """Where nobody is, nothing binds the certificate of who signed: no answer."""
    now = certificates.utc_now()
    who = signing.make_identity(certificates.shop_authority(), now)
    builder = pkcs7.PKCS7SignatureBuilder().set_data(brought.read_bytes())
    builder = builder.add_signer(who.certificate, who.key, hashes.SHA256())
    options = [pkcs7.PKCS7Options.DetachedSignature, pkcs7.PKCS7Options.Binary]
    beside = brought.with_name("brought.pdf.p7s")
    beside.write_bytes(builder.sign(Encoding.DER, options))
    (tmp_path / "who.pem").write_bytes(who.certificate.public_bytes(Encoding.PEM))
    for name in ("own.pem", "who.pem"):
        assert checked(brought, "--certificate", str(tmp_path / name))[0] == 0
    code, told = checked(brought)
    assert (code, "neither in it nor given" in told) == (3, True)
    # Who signed may be given with those between, as files of certificates are made.
    root = authority.make_authority("Root", [], now)
    builder = authority.start(
        *(authority.common_name("Between"), root.certificate.subject),
        *((own := certificates.shop_authority()).key.public_key(), now, root.expires),
    ).add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    between = authority.Identity(builder.sign(root.key, hashes.SHA256()), own.key)
    who = signing.make_identity(between, now)
    builder = pkcs7.PKCS7SignatureBuilder().set_data(brought.read_bytes())
    builder = builder.add_signer(who.certificate, who.key, hashes.SHA256())
    builder = builder.add_certificate(between.certificate)
    beside.write_bytes(builder.sign(Encoding.DER, options))
    chain = [each.certificate.public_bytes(Encoding.PEM) for each in (who, between)]
    for name, pems in (("leaf", chain[:1]), ("both", chain), ("between", chain[1:])):
        (tmp_path / f"{name}.pem").write_bytes(b"".join(pems))
        code, told = checked(brought, "--certificate", str(tmp_path / f"{name}.pem"))
        assert code == (3 if name == "leaf" else 0), (name, told)
        lacks = "CN=Root certificate authority is neither in it nor given" in told
        assert lacks == (name == "leaf")


def test_a_damaged_certificate_is_bad_input(brought, tmp_path):
    """Also where a bit makes of it another version."""
    whole = certificates.shop_authority().certificate.public_bytes(Encoding.DER)
    path = tmp_path / "damaged.cer"
    at = whole.index(bytes.fromhex("a003020102")) + 4
    for flipped, bit in ((at, 1), (at, 4), (0, 1)):
        wrong = bytearray(whole)
        wrong[flipped] ^= bit
        path.write_bytes(wrong)
        assert checked(brought, "--certificate", str(path))[0] == 3


@pytest.mark.either_database
def test_whatever_is_damaged_inside_of_a_pack_is_told_and_never_a_traceback(brought):
    """Bytes of its end, where what is packed and what is signed lies, and of all."""
    inside = signing.signed_inside(brought.read_bytes())
    flips, ends = random.Random(15), Counter()
    for number in range(120):
        wrong = bytearray(inside)
        for _ in range(1 + number % 20):
            wrong[-flips.randrange(1, (6000, len(wrong))[number % 2])] = (
                flips.randrange(256)
            )
        for read in (pack_file.read_pack, embedded_signature.embedded_signer):
            try:
                read(bytes(wrong))
            except (pack_file.NoPack, signed_file.UnreadableSignature) as why:
                assert str(why)
                ends[type(why.__cause__).__name__] += 1
    assert len(ends) > 2, ends


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "no signature (.p7s) lies beside it"),
        (b"no pdf", "Illegal PDF header"),
        (None, "cannot be read"),
    ],
)
def test_what_cannot_be_tried_is_bad_input(db, tmp_path, content, why):
    path = tmp_path / "brought.pdf"
    if content is not None:
        path.write_bytes(content)
    code, told = checked(path)
    assert (code, why in told) == (3, True), told
