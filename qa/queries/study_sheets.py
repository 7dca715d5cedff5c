"""A whole gauge study as its paper wants it."""

from dataclasses import dataclass
from datetime import datetime

from qa.queries.gauge_studies import StudyPage
from qa.queries.issue import local
from shop.queries.identity import the_shop


@dataclass(frozen=True)
class StudySheet:
    """The page that is shown, with what its title block says."""

    shop: str
    page: StudyPage
    issued_at: datetime
    issued_text: str
    creator: str
    url: str


def sheet_of(page: StudyPage, url: str) -> StudySheet:
    """Dated by its newest value. page: of a study that was read to its end."""
    return StudySheet(
        shop=the_shop().name,
        page=page,
        issued_at=page.read_at,
        issued_text=local(page.read_at),
        creator=page.study.entry.author,
        url=url,
    )
