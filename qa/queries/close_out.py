"""Close-out as pages and papers show it: what still stands, each with a link."""

from dataclasses import dataclass

from django.urls import reverse

from qa.models import Joint
from qa.queries.issue import local
from qa.rules import close_out, close_out_records, close_out_stands, surround_items
from qa.rules.close_out import Standing
from qa.rules.close_out_stands import Gathered, Scope, Stand, label_of, stay_empty
from qa.rules.signed_close_outs import address_of
from qa.rules.staleness import JointState
from qa.rules.surround_items import OnSurround
from qa.wording import close_outs as words
from shop.models import Airframe, EmptyPlace, Person, Position


@dataclass(frozen=True)
class Line:
    """One thing that stands: what, why, where its page is."""

    what: str
    why: str
    url: str


@dataclass(frozen=True)
class Group:
    """What stands of one kind."""

    kind: str
    title: str
    lines: list[Line]


@dataclass(frozen=True)
class PlaceRow:
    """A bay or a joint in the list of a larger place: how much stands there."""

    name: str
    url: str
    depth: int
    stands: int
    state: str
    is_joint: bool


@dataclass(frozen=True)
class CloseOutView:
    """A joint, a bay or an airframe on its way to closed."""

    scope: Scope
    standing: Standing
    groups: list[Group]
    places: list[PlaceRow]
    gathered: Gathered
    # Open on the surround of the joint, and not in its way.
    beside: list[Line]
    # What is meant to stay empty, and why.
    empty: list[Line]

    def did_it(self, person: Person) -> bool:
        """Whether a person did some of this work: somebody else closes it."""
        return person.pk in close_out.doers(self.gathered, self.scope)

    @property
    def count(self) -> int:
        return len(self.standing.stands)

    @property
    def paper(self) -> str:
        """Address of the same on paper."""
        return f"{address_of(self.scope).rstrip('/')}.pdf"


def view_of(
    airframe: Airframe, bay: Position | None = None, joint: Joint | None = None
) -> CloseOutView:
    """A constant number of statements: all that stands on the airframe is gathered."""
    gathered = close_out_stands.gather(close_out_records.load(airframe))
    scope = Scope(airframe, bay, joint)
    standing = close_out.standing_of(gathered, scope)
    places = [] if joint else _places(gathered, scope)
    groups = groups_of(standing.stands)
    beside = _beside(gathered, joint) if joint else []
    empty = [_empty_line(row) for row in stay_empty(gathered.records, scope)]
    return CloseOutView(scope, standing, groups, places, gathered, beside, empty)


def empty_words(row: EmptyPlace) -> str:
    """Why a place stays empty, who said so and when."""
    day = local(row.entry.received_at)[:10]
    return words.stays_empty(row.reason, row.entry.author, day)


def _empty_line(row: EmptyPlace) -> Line:
    page = reverse("airframe", args=[row.airframe_id])
    return Line(row.position.path, empty_words(row), page)


def on_surround(
    joint: Joint, airframe: Airframe, state: JointState | None
) -> list[Line]:
    """What is open on the surround of a joint, and whether it stands in its way."""
    rows = surround_items.load(joint, airframe, state)
    return [_item_line(row, airframe) for row in rows]


def _beside(gathered: Gathered, joint: Joint) -> list[Line]:
    records = gathered.records
    rows = records.on_surrounds.get(joint.pk, [])
    return [_item_line(row, records.airframe) for row in rows if not row.named]


def _item_line(row: OnSurround, airframe: Airframe) -> Line:
    item = row.item
    what = f"{label_of(airframe, item)} {item.title}"
    why = words.on_surround(
        item.part.serial, item.standing.get_state_display(), named=row.named
    )
    return Line(what, why, reverse("nonconformance", args=[item.pk]))


def groups_of(stands: list[Stand]) -> list[Group]:
    """What stands, by kind, in the order in which it is told."""
    return [
        Group(
            kind,
            str(title),
            [_line(stand) for stand in stands if stand.kind == kind],
        )
        for kind, title in words.KINDS.items()
        if any(stand.kind == kind for stand in stands)
    ]


def _line(stand: Stand) -> Line:
    name, *arguments = stand.link
    return Line(stand.what, stand.why, reverse(name, args=arguments))


def _places(gathered: Gathered, scope: Scope) -> list[PlaceRow]:
    """The bays below a scope that hold anything, each with its joints."""
    airframe = scope.airframe
    rows = []
    for bay in sorted(gathered.records.bays, key=lambda place: place.path):
        if bay == scope.bay or not scope.has(bay.path, ()):
            continue
        rows.append(_place(gathered, Scope(airframe, bay=bay), bay.path.count(" / ")))
    for joint in gathered.records.joints:
        if scope.has(joint.position.path, {joint.pk}):
            rows.append(_place(gathered, Scope(airframe, joint=joint), 0))
    return rows


def _place(gathered: Gathered, scope: Scope, depth: int) -> PlaceRow:
    standing = close_out.standing_of(gathered, scope)
    return PlaceRow(
        name=scope.bay.name if scope.bay else scope.name,
        url=address_of(scope),
        depth=depth,
        stands=len(standing.stands),
        state=standing.state,
        is_joint=bool(scope.joint),
    )
