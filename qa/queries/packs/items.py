"""The nonconformances of a pack, each with its whole story."""

from dataclasses import dataclass

from qa.queries.issue import local
from qa.queries.nonconformances import item_pages
from qa.queries.packs.scope import Scope


@dataclass(frozen=True)
class PackItem:
    """One item: what was found, who decided what, and everything that happened."""

    label: str
    title: str
    kind: str
    state: str
    state_word: str
    joint: str
    part: str
    place: str
    requirement: str
    found: str
    disposition: str
    authority: str
    concession: str
    cause: str
    severity: str
    verified: str
    closed: str
    story: tuple[tuple[str, str, str, str], ...]

    @property
    def open(self) -> bool:
        return self.state != "closed"


@dataclass(frozen=True)
class Items:
    key = "nonconformances"
    items: tuple[PackItem, ...]

    @property
    def data(self) -> list:
        return [
            {**vars(item), "story": [list(step) for step in item.story]}
            for item in self.items
        ]


def section(scope: Scope) -> Items:
    histories = item_pages.histories(scope.items)
    return Items(tuple(_item(scope, item, histories[item.pk]) for item in scope.items))


def _item(scope: Scope, item, steps) -> PackItem:
    row, standing = item_pages.item_row(item), item.standing
    return PackItem(
        label=scope.name_of(item),
        title=row.title,
        kind=str(row.kind_label),
        state=str(row.state),
        state_word=str(standing.get_state_display()),
        joint=row.joint,
        part=row.part,
        place=row.place,
        requirement=row.requirement,
        found=row.found,
        disposition=str(row.disposition),
        authority=standing.disposed_by.name if standing.disposed_by else "",
        concession=standing.concession,
        cause=str(row.cause),
        severity=str(row.severity),
        verified=standing.verified_by.name if standing.verified_by else "",
        closed=local(standing.closed_at),
        # As it went: the oldest first.
        story=tuple(
            (local(x.at), x.by, str(x.words), _note(x)) for x in reversed(steps)
        ),
    )


def _note(happening) -> str:
    check = f"re-check {happening.check.label}" if happening.check else ""
    return "; ".join(filter(None, (happening.note, check)))
