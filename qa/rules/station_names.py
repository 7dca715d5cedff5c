"""Stations of a joint as a person writes them: "4, 5", "4 to 7", "22 to 2"."""

import re

from qa.models import Joint
from shop.ledger import Refused

_RANGE = re.compile(r"^(?P<first>.+?)\s*(?:\bto\b|–|\.\.)\s*(?P<last>.+)$")
LONGEST = 400


def named(joint: Joint | None, text: str, field: str = "stations") -> list[str]:
    """The labels, each once, in the order of the seam of the newest revision. Refused
    where the joint has no such station, or no joint is named."""
    text = text.strip()
    if not text:
        return []
    if joint is None or joint.current is None:
        raise Refused("Choose the joint that has these stations.", field=field)
    if len(text) > LONGEST:
        raise Refused("Write fewer stations, or ranges of them.", field=field)
    labels = list(joint.current.stations.values_list("label", flat=True))
    names: set[str] = set()
    for piece in re.split(r"[,;]", text):
        if name := piece.strip():
            names |= _piece(name, labels, joint, field)
    return [label for label in labels if label in names]


def stretch(first: str, last: str, labels: list[str], *, closed: bool) -> str:
    """One station, or a stretch, as `named` reads it: along the stations as they are
    numbered. Chosen the other way round it is turned, save on a closed seam where it
    runs over the first station and is no longer so."""
    if not last or last == first:
        return first
    start, end = labels.index(first), labels.index(last)
    over = closed and 2 * (start - end) >= len(labels)
    if end < start and not over:
        first, last = last, first
    return f"{first} to {last}"


def _piece(name: str, labels: list[str], joint: Joint, field: str) -> set[str]:
    if name in labels:
        return {name}
    span = _RANGE.match(name) or re.match(r"^(?P<first>[^-]+)-(?P<last>[^-]+)$", name)
    ends = [part.strip() for part in span.groups()] if span else [name]
    for end in ends:
        if end not in labels:
            raise Refused(f"{joint.number} has no station {end}.", field=field)
    first, last = (labels.index(end) for end in ends)
    if first <= last:
        return set(labels[first : last + 1])
    if joint.current.closed:
        return {*labels[first:], *labels[: last + 1]}
    raise Refused(f"Station {ends[1]} comes before {ends[0]}.", field=field)
