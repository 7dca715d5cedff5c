"""What stations measured again say about those that were not (design 4.4).

A witness is a station that was not cut, read again in the same kind, held in the same
way and with the same finish, within the stated repeatability. Three of one kind, well
spread, keep the uncut stations of that kind; across a move none can. One that does not
repeat keeps nothing: the part sits otherwise than before.
"""

from qa.numeric.verdict import witness
from qa.rules.epochs import Epoch, Key, Value, Witnesses


def heard(epoch: Epoch, seam) -> Witnesses:
    """Compare what was measured in an epoch with what stood before it."""
    pairs = [
        (key, epoch.before[key], now)
        for key, now in epoch.measured.items()
        if _comparable(epoch, key, now, seam)
    ]
    limits = [_within(epoch, old, now) for _, old, now in pairs] or [_stated(epoch)]
    known = [limit for limit in limits if limit is not None]
    if epoch.bar or not pairs or not known:
        return Witnesses(repeatability_nm=min(known, default=None))
    apart, agree = [], {}
    for (label, kind), old, now in pairs:
        within = _within(epoch, old, now)
        difference = now.reading.value_nm - old.reading.value_nm
        # Leaves of a feeler leave open where between them the gap was.
        loose = (old.width_nm + now.width_nm) // 2
        agrees = within is not None and abs(difference) + loose <= within
        agree.setdefault((kind, now.condition), {})[label] = agrees
        if within is not None and abs(difference) - loose > within:
            apart.append((label, kind, difference))
    by_kind = {
        kind: tuple(x for x in seam.rows if stations.get(x))
        for (kind, _), stations in agree.items()
    }
    every = {label for stations in agree.values() for label in stations}
    denied = {
        x for stations in agree.values() for x, agrees in stations.items() if not agrees
    }
    return Witnesses(
        repeated=tuple(x for x in seam.rows if x in every - denied),
        by_kind=by_kind,
        apart=tuple(apart),
        repeatability_nm=min(known),
        speak_for=frozenset(
            group for group, stations in agree.items() if _spread(stations, seam)
        ),
    )


def carried(epoch: Epoch) -> dict[Key, Value]:
    """What the witnesses keep: uncut stations, of the kinds that were witnessed."""
    if not epoch.witnesses.keep:
        return {}
    return {
        key: Value(old.reading, old.check, old.fit_up, carried=True, clash=old.clash)
        for key, old in epoch.before.items()
        if key[0] not in epoch.cut
        and (key[1], old.condition) in epoch.witnesses.speak_for
        and old.fit_up.revision_id == epoch.fit_up.revision_id
    }


def proposed(epoch: Epoch, seam) -> tuple[str, ...]:
    """Three uncut stations to measure first: together they may keep the rest. None
    after a move, when no station can speak for another."""
    if epoch.bar:
        return ()
    kinds: dict[str, set] = {}
    for (label, kind), value in epoch.before.items():
        same = value.fit_up.revision_id == epoch.fit_up.revision_id
        if same and label in seam.rows and label not in epoch.cut and not value.clash:
            kinds.setdefault(label, set()).add(kind)
    # Those that can speak for every kind come before those that know one alone.
    wanted = max((len(kind) for kind in kinds.values()), default=0)
    rows = [
        sorted(seam.rows[x] for x, has in kinds.items() if len(has) >= least)
        for least in (wanted, 1)
    ]
    for known in rows:
        places = [seam.s[row] for row in known]
        best = witness.choose(places, seam.length, seam.revision.closed)
        if best:
            return tuple(seam.stations[known[k]].label for k in best)
    return ()


def _comparable(epoch: Epoch, key: Key, now: Value, seam) -> bool:
    before = epoch.before.get(key)
    return (
        before is not None
        and key[0] not in epoch.cut
        and key[0] in seam.rows
        and before.reading.station_id == now.reading.station_id
        and before.condition == now.condition
        and not before.clash
        and not now.clash
    )


def _stated(epoch: Epoch) -> int | None:
    stated = epoch.fit_up.revision.repeatability_nm
    known = [check.u_nm for check in epoch.checks if check.u_nm is not None]
    return 2 * min(known) if stated is None and known else stated


def _within(epoch: Epoch, old: Value, now: Value) -> int | None:
    """What two readings may differ by: as the revision states, else twice the smaller
    u of the two, so that a coarse gauge is no easy witness."""
    stated = epoch.fit_up.revision.repeatability_nm
    if stated is not None:
        return stated
    known = [x for x in (old.check.u_nm, now.check.u_nm) if x is not None]
    return 2 * min(known) if known else None


def _spread(stations: dict[str, bool], seam) -> bool:
    places = [seam.s[seam.rows[label]] for label, read in stations.items() if read]
    return witness.well_spread(places, seam.length, seam.revision.closed)
