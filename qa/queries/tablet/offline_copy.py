"""What a tablet carries to start checks without a network: joints, parts, gauges."""

from collections.abc import Sequence

from django.db.models import Max, OuterRef, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    Check,
    CheckState,
    Finish,
    FitUp,
    Instrument,
    InstrumentStatus,
    Joint,
    Kind,
    Station,
)
from qa.queries.joints.earlier_airframes import lines_to_carry
from qa.queries.joints.joint_pages import designs_by_position
from qa.queries.tablet.carried_checks import (
    defects_to_show,
    holes_to_show,
    judged_by,
    reach_of,
    tablet_map,
)
from qa.queries.tablet.studies import studies_to_carry
from qa.rules import gauges
from qa.rules.photographs import PHOTOGRAPHED
from qa.rules.requirements import requirement
from shop import identifiers
from shop.models import Airframe, Part, Placement
from shop.queries.incarnations import database_id

MOST_CHECKS = 50
MOST_PARTS = 1000  # beside those that sit on an airframe that is carried
MOST_AIRFRAMES = 60
MOST_GAUGES = 200
NEW = 20  # of these two, however much is fitted elsewhere or measured with others
OF_OPEN_CHECKS = (
    *("number", "entry", "fit_up__airframe__serial", "fit_up__joint__number"),
    *("fit_up__joint__name", "state__state", "state__conforms", "state__wanted"),
    *("state__does_not_conform", "state__not_proven", "state__started_at"),
)
LATELY = 500  # fit-ups and checks, among which what was used lately is looked for


def carry(hosts: Sequence[str] = ()) -> dict:
    """Return everything at once, in a constant number of statements.

    Of many airframes those worked on lately, and the newest, with the joints of their
    types, of many gauges those measured with lately, and the newest: a check of
    another, or with another, is begun on its page, where there is a network. That
    gauges are left out is told as one more, with which no check begins.

    hosts: names and addresses that stand in the codes of this shop's labels.
    """
    airframes = _airframes()
    placed = _placed(airframes)
    keys, left_out = _gauges()
    instruments = gauges.offered(keys)
    return {
        "database": database_id(),
        "now": timezone.now().isoformat(),
        "checks": _open_checks(),
        "studies": studies_to_carry(),
        "airframes": [
            _named(airframe, label=airframe.serial) for airframe in airframes
        ],
        "parts": _parts({part for _airframe, _position, part in placed}),
        "instruments": [
            _named(
                instrument,
                code=instrument.code,
                name=_with_doubt(instrument, why),
                u_nm=instrument.u_nm,
                refused=why if refused else "",
                **reach_of(
                    instrument, (instrument.range_low_nm, instrument.range_high_nm)
                ),
            )
            for instrument, why, refused in instruments
        ]
        + [_another()] * left_out,
        "joints": _joints(
            airframes, placed, {instrument.u_nm for instrument, *_ in instruments}
        ),
        "hosts": list(hosts),
        "kinds": {
            kind.letter: {"word": str(kind.word), "photo": name in PHOTOGRAPHED}
            for name, kind in identifiers.KINDS.items()
        },
    }


def _with_doubt(instrument: Instrument, why: str) -> str:
    return f"{instrument.name} ({why.rstrip('.')})" if why else instrument.name


def _another() -> dict:
    """What stands for the gauges that are not carried."""
    return {
        "id": -1,  # no label says so
        "uuid": None,
        "code": _("another:"),
        "name": _("begin the check on its page"),
        "u_nm": None,
        "refused": _(
            "This tablet carries the instruments used lately and the newest. With "
            "another, begin the check on the page of the site, with a network."
        ),
    }


def _named(row, **shown) -> dict:
    """id: what labels and places name it by; uuid: what acts name it by."""
    return {"id": row.pk, "uuid": str(row.uuid), **shown}


def _airframes() -> list[Airframe]:
    fitted = FitUp.objects.order_by("-pk").values_list("airframe_id", flat=True)
    rows = Airframe.objects.order_by("-pk").values_list("pk", flat=True)
    newest = list(rows[:MOST_AIRFRAMES])
    # A new one has no fit-up yet, and gets its first check next.
    lately = [*newest[:NEW], *fitted[:LATELY], *newest]
    keys = list(dict.fromkeys(lately))[:MOST_AIRFRAMES]
    return list(Airframe.objects.filter(pk__in=keys))


def _gauges() -> tuple[list[int], bool]:
    """Those that are carried, and whether others that are in use are not."""
    rows = Instrument.objects.exclude(status=InstrumentStatus.OUT).order_by("-pk")
    newest = list(rows.values_list("pk", flat=True)[: MOST_GAUGES + 1])
    used = Check.objects.exclude(instrument=None).order_by("-pk")
    used = used.exclude(instrument__status=InstrumentStatus.OUT)
    used = used.values_list("instrument_id", flat=True)[:LATELY]
    keys = list(dict.fromkeys([*newest[:NEW], *used, *newest]))
    return keys[:MOST_GAUGES], len(keys) > MOST_GAUGES


def _placed(airframes) -> list[tuple]:
    sits = Placement.objects.filter(removed_at__isnull=True, airframe__in=airframes)
    return list(sits.values_list("airframe_id", "position_id", "part_id"))


def _parts(placed: set[int]) -> list[dict]:
    """The newest, and those placed here; each with the airframe that it sits on, be it
    carried or not: it is not loose."""
    sits = Placement.objects.filter(part=OuterRef("pk"), removed_at__isnull=True)
    rows = Part.objects.exclude(state="scrapped").order_by("-pk")
    newest = rows.values_list("pk", flat=True)[:MOST_PARTS]
    columns = rows.filter(pk__in=placed.union(newest)).values_list(
        *("pk", "uuid", "serial", Subquery(sits.values("airframe")[:1]), "design")
    )
    names = ("id", "uuid", "label", "airframe", "design")
    return [
        dict(zip(names, (key, str(uuid), *more), strict=True))
        for key, uuid, *more in columns
    ]


def _open_checks() -> list[dict]:
    # The newest keys first: else all that are open are read and sorted.
    states = CheckState.objects.filter(state=CheckState.State.OPEN)
    newest = states.order_by("-fit_check").values_list("fit_check", flat=True)
    rows = (
        Check.objects.filter(pk__in=list(newest[:MOST_CHECKS]))
        .select_related("state", "fit_up__airframe", "fit_up__joint")
        .only(*OF_OPEN_CHECKS)
        .order_by("-number")
    )
    return [
        {
            "id": check.pk,
            "uuid": str(check.entry_id),
            "label": check.label,
            "airframe": check.fit_up.airframe.serial,
            "joint": f"{check.fit_up.joint.number} {check.fit_up.joint.name}",
            "state": check.state.state,
            "filled": check.state.conforms
            + check.state.does_not_conform
            + check.state.not_proven,
            "of": check.state.wanted,
            "started_at": check.state.started_at.isoformat(),
        }
        for check in rows
    ]


def _joints(airframes, placed, uncertainties) -> list[dict]:
    rows = Joint.objects.exclude(current=None).select_related("current")
    if airframes:
        rows = rows.filter(type__in={airframe.type_id for airframe in airframes})
    joints = list(rows)
    stations: dict = {}
    for station in Station.objects.filter(
        revision__in=[joint_row.current_id for joint_row in joints]
    ).order_by("revision", "order"):
        stations.setdefault(station.revision_id, []).append(station)
    holes = holes_to_show(joints)
    defects = _by_joint(defects_to_show(joints, airframes))
    held = _by_joint(_held_last(joints, airframes))
    earlier = _by_joint(lines_to_carry(joints, airframes, placed, stations))
    positions = {joint.position_id for joint in joints} | {
        joint.surround_id for joint in joints
    }
    designs = designs_by_position(positions)
    return [
        {
            **_joint(
                joint_row,
                stations[joint_row.current_id],
                airframes,
                placed,
                uncertainties,
            ),
            "designs": sorted(designs.get(joint_row.position_id, ())),
            "surround_designs": sorted(designs.get(joint_row.surround_id, ())),
            "holes": holes.get(joint_row.pk, []),
            "defects": defects.get(joint_row.pk, {}),
            "earlier": earlier.get(joint_row.pk, {}),
            "held_last": held.get(joint_row.pk, {}),
        }
        for joint_row in joints
    ]


def _by_joint(rows_by_pair: dict[tuple[int, int], list]) -> dict[int, dict[str, list]]:
    """What is told by joint and airframe, as a tablet looks it up."""
    by_joint: dict = {}
    for (joint, airframe), rows in rows_by_pair.items():
        by_joint.setdefault(joint, {})[str(airframe)] = rows
    return by_joint


def _held_last(joints, airframes) -> dict[tuple[int, int], list]:
    """Return by joint and airframe how the part was held in the last check."""
    here = Check.objects.filter(
        fit_up__joint__in=joints, fit_up__airframe__in=airframes
    )
    last = here.values("fit_up__joint", "fit_up__airframe").annotate(last=Max("pk"))
    columns = ("fit_up__joint", "fit_up__airframe", "held", "fit_up__held")
    rows = Check.objects.filter(pk__in=last.values("last")).values_list(*columns)
    held = {(joint, airframe): own or before for joint, airframe, own, before in rows}
    return {key: how for key, how in held.items() if how}


def _joint(joint, stations, airframes, placed, uncertainties) -> dict:
    revision = joint.current
    for station in stations:
        station.revision = revision
    drawn = tablet_map(revision, stations)
    return {
        **_named(joint, label=joint.number, name=joint.name),
        "airframes": [
            airframe.pk
            for airframe in airframes
            if airframe.type_id == joint.type_id
            and airframe.line_number >= joint.first_line
            and (joint.last_line is None or airframe.line_number <= joint.last_line)
        ],
        "parts": {
            str(airframe): part
            for airframe, position, part in placed
            if position == joint.position_id
        },
        "surrounds": {
            str(airframe): part
            for airframe, position, part in placed
            if position == joint.surround_id
        },
        "acceptance": revision.acceptance_condition,
        "revision": str(revision.uuid),
        "revision_label": str(revision.number),
        "units": revision.units,
        "rule": revision.rule,
        "closed": revision.closed,
        "stations": drawn.pop("stations"),
        "map": drawn,
        "limits": _all_limits(revision, stations, uncertainties | {None}),
    }


def _all_limits(revision, stations, uncertainties) -> list[dict]:
    """Return limits by finish and uncertainty; a pair that cannot be judged is left
    out, and the tablet does not offer it."""
    limit_rows, kinds = [], Kind.values
    for finish in Finish.values:
        wanted = [
            {kind: requirement(station, kind, finish) for kind in kinds}
            for station in stations
        ]
        # Most stations of a seam have the same in common.
        different = {limits for own in wanted for limits in own.values()}
        for u_nm in uncertainties:
            try:
                judged = {
                    limits: judged_by(limits, u_nm, revision) for limits in different
                }
            except ValueError:
                continue
            rows = [
                {kind: judged[limits] for kind, limits in own.items()} for own in wanted
            ]
            limit_rows.append({"finish": finish, "u_nm": u_nm, "stations": rows})
    return limit_rows
