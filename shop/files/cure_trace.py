"""A cure trace as a CSV file: time, any number of thermocouples, maybe the vacuum.

Time is one column of `minutes`, `seconds`, `hours` (elapsed) or `time` (of day, 14:05
or 14:05:30, running over midnight; or with the date, 2026-11-25 14:05). Temperatures
are all columns that end in `_c` or `_f`, named as the shop names its sensors (`tc1_c`,
`lower skin (F)`). The vacuum is `vacuum_kpa`, `vacuum_mbar` or `vacuum_inhg` below
ambient. An empty cell, a dash, `OL`, `open` or `NaN` is a sensor that said nothing.
"""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from shop.files.csv_table import (
    Complaint,
    FileComplaints,
    Row,
    Table,
    number,
    read_table,
)
from shop.numeric.trace import Series, Span, Trace
from shop.numeric.units import F_PER_K, MIN_PER_DAY, MIN_PER_H, S_PER_MIN, ZERO_C_IN_F

ELAPSED = {"minutes": 1.0, "seconds": 1 / S_PER_MIN, "hours": MIN_PER_H}
VACUUM_KPA = {"kpa": 1.0, "mbar": 0.1, "inhg": 3.386389}
NOT_ASKED = {"", "-", "--", "---"}
LOST = {"ol", "open", "nan", "n/a"}
COLDEST_C, HOTTEST_C = -100.0, 600.0
MOST_ROWS = 100_000

_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:\.[0-9]+)?)?")


def parse(data: bytes) -> Trace:
    """The trace in a file. Raises FileComplaints with all that is wrong."""
    table = read_table(data)
    if len(table.rows) > MOST_ROWS:
        reason = f"{len(table.rows)} rows; at most {MOST_ROWS}"
        raise FileComplaints([Complaint(reason, table.rows[MOST_ROWS].line)])
    time, sensors, vacuum = _columns(table.header)
    complaints: list[Complaint] = []
    minutes = _minutes(table, time, complaints)
    read = {
        name: _series(table, minutes, index, convert, complaints)
        for name, (index, convert) in sensors.items()
    }
    suction = _series(table, minutes, *vacuum, complaints) if vacuum else None
    if complaints:
        raise FileComplaints(complaints)
    return Trace(read, suction, Span(minutes[0], minutes[-1]))


def _columns(header: Row):
    """(time column, {sensor: (column, to degC)}, (column, to kPa) or None)."""
    time, vacuum = None, None
    sensors: dict[str, tuple[int, Callable[[float], float]]] = {}
    complaints = []

    def complain(name: str, reason: str) -> None:
        complaints.append(Complaint(reason, header.line, name))

    for index, name in enumerate(header.cells):
        stem, _, unit = name.rpartition("_")
        if name in ELAPSED or name == "time":
            if time is not None:
                complain(name, "a second column of time")
            time = index
        elif stem == "vacuum":
            if unit not in VACUUM_KPA:
                complain(name, f"unit {unit!r} is not known; use kpa, mbar or inhg")
            elif vacuum:
                complain(name, "a second column of vacuum")
            else:
                vacuum = (index, _times(VACUUM_KPA[unit]))
        elif stem and unit in ("c", "degc", "f", "degf"):
            stem = stem.removesuffix("_deg")
            if stem in sensors:
                complain(name, f"sensor {stem} is there twice")
            sensors[stem] = (index, _celsius if unit.endswith("f") else _plain)
        elif name:
            known = "minutes, seconds, hours, time, NAME_c, NAME_f, vacuum_kpa"
            complain(name, f"the column is not known (known: {known})")
    if time is None:
        complain("minutes", "a column of time is missing")
    if not sensors:
        complain("tc1_c", "there is no temperature: head a column NAME_c or NAME_f")
    if complaints:
        raise FileComplaints(complaints)
    return time, sensors, vacuum


def _minutes(table: Table, column: int, complaints: list[Complaint]) -> list[float]:
    """Minutes since the first row, one per row; complains where time stands still."""
    name = table.header.cells[column]
    minutes_read: list[float] = []
    before, style = None, None
    for row in table.rows:
        try:
            now, how = _when(row.cells[column], name, before)
            style = style or how
            if how != style:
                raise ValueError(f"{how}, while the rows before have {style}")
            if before is not None and now <= before:
                raise ValueError("time does not go on from the row before")
        except ValueError as why:
            complaints.append(Complaint(str(why), row.line, name))
            now = before
        before = now
        minutes_read.append(now)
    if not table.rows:
        complaints.append(Complaint("there are no readings", table.header.line))
    first = next((minute for minute in minutes_read if minute is not None), 0.0)
    return [0.0 if minute is None else minute - first for minute in minutes_read]


def _when(text: str, name: str, before: float | None) -> tuple[float, str]:
    """Minutes on a scale of the file's own, and how they were written.

    A clock that falls by more than half a day went past midnight.
    """
    if name != "time":
        return float(number(text)) * ELAPSED[name], name
    clock = _CLOCK.fullmatch(text)
    if clock:
        hour, minute, second = (int(part or 0) for part in clock.groups())
        if hour > 23 or minute > 59 or second > 59:
            raise ValueError(f"{text!r} is no time of day")
        now = hour * MIN_PER_H + minute + second / S_PER_MIN
        if before is not None:
            now += MIN_PER_DAY * max(0, round((before - now) / MIN_PER_DAY))
        return now, "a time of day"
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(
            f"{text!r} is no time; write 14:05, 14:05:30 or 2026-11-25 14:05"
        ) from None
    beginning = datetime(1970, 1, 1, tzinfo=moment.tzinfo and UTC)
    style = "a date and time with a zone" if moment.tzinfo else "a date and time"
    return (moment - beginning) / timedelta(minutes=1), style


def _series(
    table: Table, minutes, column: int, convert, complaints: list[Complaint]
) -> Series | None:
    """What one sensor said, where it said anything; None after complaining.

    A column of empty cells is no sensor; one that could never read is.
    """
    name = table.header.cells[column]
    before = len(complaints)
    when, values, lost = [], [], []
    for row, minute in zip(table.rows, minutes, strict=True):
        text = row.cells[column]
        if text.lower() in NOT_ASKED:
            continue
        if text.lower() in LOST:
            lost.append(minute)
            continue
        try:
            value = convert(float(number(text)))
            if not COLDEST_C <= value <= HOTTEST_C:
                raise ValueError(f"{text} cannot be: is the sensor open?")
        except ValueError as why:
            complaints.append(Complaint(str(why), row.line, name))
            continue
        when.append(minute)
        values.append(value)
    if table.rows and not (values or lost) and len(complaints) == before:
        reason = (
            "the sensor said nothing at all; leave the column out if none was there, "
            "write OL if it had died"
        )
        complaints.append(Complaint(reason, table.header.line, name))
    return None if complaints else Series(tuple(when), tuple(values), tuple(lost))


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


def _plain(value: float) -> float:
    return value


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - ZERO_C_IN_F) / F_PER_K
