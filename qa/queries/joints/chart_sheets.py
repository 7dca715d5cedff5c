"""The charts of one place or mode over parts, as their paper wants them."""

from dataclasses import dataclass
from datetime import datetime

from qa.queries.issue import local
from qa.queries.joints.over_parts import SeriesPage
from shop.queries.identity import the_shop

READINGS = {"first": "at the first fit", "last": "as read last"}


@dataclass(frozen=True)
class ChartPaper:
    """The page that is shown, with what its title block says."""

    shop: str
    page: SeriesPage
    read_at: str
    issued_at: datetime
    issued_text: str
    creator: str
    url: str


def paper_of(page: SeriesPage, which: str, url: str, creator: str) -> ChartPaper:
    """Dated by the newest that it shows, check or note. page: of a part at least."""
    entries = [
        check.entry for read in page.reads for check in read.made_by(page.of, page.row)
    ]
    entries += [written.note.entry for written in page.written]
    newest = max(entry.received_at for entry in entries)
    return ChartPaper(
        shop=the_shop().name,
        page=page,
        read_at=READINGS[which],
        issued_at=newest,
        issued_text=local(newest),
        creator=creator,
        url=url,
    )
