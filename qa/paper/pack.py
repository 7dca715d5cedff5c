"""An inspection pack: a plain record in, PDF bytes out. The same record gives the same
bytes."""

import json

from qa.paper import (
    pack_closing,
    pack_cures,
    pack_front_matter,
    pack_index,
    pack_items,
    pack_joints,
    pack_photos,
    pack_tables,
)
from qa.queries.packs.closing import Proven, Stands, TemporaryItems
from qa.queries.packs.cures import Cures
from qa.queries.packs.genealogy import Genealogy
from qa.queries.packs.holes import Holes
from qa.queries.packs.instruments import Instruments
from qa.queries.packs.items import Items
from qa.queries.packs.joints import Joints
from qa.queries.packs.pack import Pack
from qa.queries.packs.photos import Photos
from qa.queries.packs.signed import Signed
from qa.queries.packs.weights import Weights
from shop.paper import TitleBlock, sheets
from shop.paper.sheet import Places, Tell

DOCUMENT_TYPE = "Inspection pack"
# What prints each section: one module, one function.
STORIES = {
    Genealogy: pack_tables.genealogy,
    Joints: pack_joints.story,
    Holes: pack_joints.holes,
    Items: pack_items.story,
    Instruments: pack_tables.instruments,
    Photos: pack_photos.story,
    Weights: pack_tables.weights,
    Cures: pack_cures.story,
    Signed: pack_tables.signed,
    Stands: pack_closing.stands,
    TemporaryItems: pack_closing.temporary,
    Proven: pack_joints.proven,
}


def render(
    pack: Pack, files: dict[str, str], tell: Tell | None = None
) -> tuple[bytes, int]:
    """PDF bytes and how many pages. `files` are the names of what is attached: the
    record, the table, and what says which issue this is. `tell(done, total)` is called
    as pages are drawn."""
    places = Places()
    body = [
        block for section in pack.sections for block in STORIES[type(section)](section)
    ]
    body += pack_tables.cautions(pack.cautions)
    end = [*pack_index.story(body, places), *pack_front_matter.digest_page(pack, files)]
    blocks = [
        *pack_front_matter.first_page(pack),
        *pack_front_matter.contents([*body, *end], places),
        *pack_front_matter.changes(pack),
        *body,
        *end,
    ]
    data = sheets(
        blocks,
        title_block(pack),
        paper=pack.paper,
        issued_at=pack.issued_at,
        attachments=attachments(pack, files),
        places=places,
        keywords=f"content sha256 {pack.digest}",
        tell=tell,
        archive=True,
    )
    return data, places.total


def title_block(pack: Pack) -> TitleBlock:
    return TitleBlock(
        owner=pack.shop,
        document_type=DOCUMENT_TYPE,
        number=pack.label,
        title=pack.title,
        subtitle=pack.subtitle,
        revision=f"issue {pack.issue}",
        date=pack.issued_text,
        creator=pack.by,
        url=pack.url,
        digest=pack.digest,
        ledger_head=f"{pack.head[0]} {pack.head[1]}",
    )


def attachments(pack: Pack, files: dict[str, str]) -> list[tuple[str, str, bytes]]:
    return [
        (files["record"], "application/json", pack.record.encode()),
        (files["table"], "text/csv", pack.table.encode()),
        (files["issue"], "application/json", issue_of(pack)),
    ]


def issue_of(pack: Pack) -> bytes:
    """Which issue the pages are: what the record, the same for any, does not say."""
    content = {
        "form": "pack_issue/1",
        "pack": pack.label,
        "issue": pack.issue,
        "subject": pack.subject,
        "shop": pack.shop,
        "by": pack.by,
        "note": pack.note,
        "issued": pack.issued_text,
        "content_sha256": pack.digest,
        "ledger_head": list(pack.head),
        "not_chained_yet": pack.unsealed,
    }
    return json.dumps(content, sort_keys=True, ensure_ascii=False, indent=1).encode()
