"""What a newer revision of a joint requires otherwise than an older one, in words."""

from collections import defaultdict
from collections.abc import Iterable

from django.utils.translation import gettext as _

from qa.models import JointRevision, OfferedJoint, Station
from qa.rules.epochs import MOST_TOLD
from qa.wording import revisions as words

Step = tuple[int, int, int]  # a joint, the revision before, the one now

LIMITS = ("gap_min_nm", "gap_max_nm", "flush_min_nm", "flush_max_nm")
# Which row it is, and what was typed of values that are compared themselves.
NOT_REQUIRED = {"id", "entry", "revision", "order", "label", "typed"} | {
    *("uuid", "joint", "number", "units")
}


def _values(row, names) -> tuple:
    return tuple(getattr(row, name) for name in names)


def _required(model) -> list[str]:
    return [
        field.attname
        for field in model._meta.concrete_fields
        if field.name not in NOT_REQUIRED
    ]


OF_STATION = [name for name in _required(Station) if name not in LIMITS]
OF_REVISION = _required(JointRevision)


def since_offered(rows: list[OfferedJoint]) -> dict[int, str]:
    """By the key of a row, where its joint was revised since it was offered: the newest
    revision, and what that requires otherwise. No statement where none was."""
    pairs = {
        row.pk: (row.joint_id, row.content["newest_revision"], row.joint.current.number)
        for row in rows
        if row.joint.current.number != row.content["newest_revision"]
    }
    otherwise = _otherwise(pairs.values())
    sentences = {}
    for row in rows:
        if row.pk in pairs:
            sentence = _("%(joint)s has revision %(number)s now") % {
                "joint": row.joint.number,
                "number": row.joint.current.number,
            }
            what = otherwise[pairs[row.pk]]
            sentences[row.pk] = f"{sentence}: {what}" if what else sentence
    return sentences


def _otherwise(
    pairs: Iterable[tuple[int, int, int]],
) -> dict[tuple[int, int, int], str]:
    """Of each (joint, number before, number now) what is required otherwise; "" where
    that is nothing. Two statements, none for no pairs."""
    pairs = set(pairs)
    if not pairs:
        return {}
    numbers = {number for _joint, *both in pairs for number in both}
    rows = JointRevision.objects.filter(
        joint__in={joint for joint, *_both in pairs}, number__in=numbers
    )
    by_number = {(row.joint_id, row.number): row for row in rows}
    stations = defaultdict(dict)
    for station in Station.objects.filter(revision__in=rows).order_by("order"):
        stations[station.revision_id][station.label] = station
    changes = {}
    for joint, before, now in pairs:
        was, requires = by_number[joint, before], by_number[joint, now]
        changes[joint, before, now] = "; ".join(
            [
                *_stations(stations[was.pk], stations[requires.pk]),
                *_beside_stations(was, requires),
            ]
        )
    return changes


def _stations(was: dict[str, Station], now: dict[str, Station]) -> list[str]:
    both = [label for label in now if label in was]
    differ = {
        _("limits at %s"): [
            x for x in both if _values(was[x], LIMITS) != _values(now[x], LIMITS)
        ],
        _("what else is required at %s"): [
            x
            for x in both
            if _values(was[x], OF_STATION) != _values(now[x], OF_STATION)
        ],
        _("new: %s"): [x for x in now if x not in was],
        _("not there any more: %s"): [x for x in was if x not in now],
    }
    return [sentence % _few(labels) for sentence, labels in differ.items() if labels]


def _few(labels: list[str]) -> str:
    more = ["…"] if len(labels) > MOST_TOLD else []
    return ", ".join([*labels[:MOST_TOLD], *more])


def _beside_stations(was: JointRevision, now: JointRevision) -> list[str]:
    changed = (x for x in OF_REVISION if getattr(was, x) != getattr(now, x))
    return list(dict.fromkeys(str(words.REQUIRED[name]) for name in changed))
