"""Sensors that fall silent: what they leave unseen is open, never met.

Every expected value is worked by hand from the trace in the test; no published source.
The property takes a whole recording, lets sensors fall silent, and asks that nothing is
concluded then that the whole recording does not say.
"""

import os
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shop.numeric.cure_check import check_cure
from shop.numeric.cure_window import Outcome, Window, WindowError
from shop.numeric.trace import Series, Span, Trace, TraceError
from shop.wording import cures as wording


def why(requirement) -> str:
    """Why it is open, in words."""
    return wording.why(wording.requirement_record(requirement))


CASES = int(os.environ.get("FAYLINE_CASES", "200"))
NAN = float("nan")
WINDOW = Window(
    dwell_least_c=60,
    dwell_least_minutes=60,
    dwell_most_c=90,
    heating_most=3,
    peak_most_c=90,
    cooling_most=3,
    end_most_c=40,
    vacuum_least_kpa=80,
    vacuum_until_c=45,
)


def sensor(reads, minutes=range(200), lost=()):
    """A reading each minute by a function of the minute, but where it is lost."""
    heard = [minute for minute in minutes if minute not in set(lost)]
    return Series(
        tuple(map(float, heard)),
        tuple(float(reads(minute)) for minute in heard),
        tuple(map(float, lost)),
    )


def cure(minute):
    """Up by 1 K/min to 65 degC, 80 min there, down by 1 K/min: over after 170 min."""
    return max(20.0, min(20.0 + minute, 65.0, 65.0 - (minute - 125)))


def overheated(minute):
    return 150.0 if 140 <= minute < 160 else cure(minute)


VACUUM = sensor(lambda minute: 90)


def told(*sensors, vacuum=VACUUM, window=WINDOW):
    names = {f"tc{number}": series for number, series in enumerate(sensors, start=1)}
    check = check_cure(Trace(names, vacuum, Span(0.0, 199.0)), window)
    return check, {one.name: one for one in check.requirements}


def outcomes(found):
    return {name: str(one.outcome) for name, one in found.items()}


def test_a_cure_that_was_seen_throughout_is_met():
    check, found = told(sensor(cure), sensor(cure))
    assert check.outcome is Outcome.MET, outcomes(found)


def test_a_cure_that_overheats_after_one_thermocouple_died_is_not_met():
    """tc1 dies at 130 min, tc2 then reads 150 degC against 90."""
    check, found = told(sensor(cure, lost=range(130, 200)), sensor(overheated))
    assert check.outcome is Outcome.NOT_MET
    peak = found["peak"]
    assert (peak.outcome, peak.value, peak.sensor) == (Outcome.NOT_MET, 150, "tc2")
    assert found["cooling"].outcome is not Outcome.MET
    assert found["end"].outcome is Outcome.OPEN


def test_what_nobody_saw_after_a_sensor_died_is_open():
    check, found = told(sensor(cure, lost=range(130, 200)), sensor(cure))
    assert check.outcome is Outcome.OPEN
    assert found["dwell"].outcome is Outcome.OPEN or found["dwell"].value >= 60
    for name in ("peak", "cooling", "end", "vacuum"):
        assert found[name].outcome is Outcome.OPEN, name
        assert "tc1 was not heard after 129 min" in why(found[name]), name


def test_a_gap_in_the_middle_is_open_and_the_sensor_that_comes_back_counts():
    """Lost from 50 to 70 min, within the dwell of 40 to 130 min: it comes back in time
    for a dwell of its own, 71 to 130 min, a minute short."""
    lost = range(50, 71)
    check, found = told(sensor(cure, lost=lost), sensor(cure))
    assert found["dwell"].outcome is Outcome.OPEN
    assert found["dwell"].value == pytest.approx(59)
    assert why(found["dwell"]) == "tc1 was not heard from 49 to 71 min"
    assert found["peak"].outcome is Outcome.OPEN
    assert found["end"].outcome is Outcome.MET
    hot = sensor(lambda m: 95 if m == 100 else cure(m), lost=lost)
    assert told(hot, sensor(cure))[1]["peak"].outcome is Outcome.NOT_MET


def test_a_rate_is_not_taken_across_a_silence():
    """20 to 65 degC within a silence of 20 min says nothing of the steepest 5."""
    steep = sensor(lambda m: cure(m) if m < 5 else cure(m + 25), lost=range(5, 25))
    found = told(steep, sensor(cure))[1]
    assert found["heating"].outcome is Outcome.OPEN


def test_all_sensors_dead_leave_everything_open():
    dead = sensor(cure, lost=range(200))
    check, found = told(dead, dead)
    assert set(outcomes(found).values()) == {"open"}
    assert "said nothing at all" in why(found["peak"])
    late = sensor(cure, lost=range(60, 200))
    check, found = told(late, late)
    assert check.outcome is Outcome.OPEN
    assert "met" not in {str(found[n].outcome) for n in ("peak", "cooling", "vacuum")}


def test_a_sensor_that_never_spoke_leaves_open_what_it_should_have_seen():
    check, found = told(sensor(cure), sensor(cure, lost=range(200)))
    assert set(outcomes(found).values()) == {"open"}
    assert why(found["dwell"]) == "tc2 said nothing at all"


def test_one_sample_is_no_cure():
    one = Series((0.0,), (65.0,))
    check = check_cure(Trace({"tc1": one}, Series((0.0,), (90.0,))), WINDOW)
    assert {str(found.outcome) for found in check.requirements} == {"open"}
    within = told(Series((100.0,), (65.0,)), sensor(cure))[1]
    assert within["peak"].outcome is Outcome.OPEN
    assert why(within["peak"]) == "tc1 was heard once only, at 100 min"


def test_no_vacuum_and_a_vacuum_that_was_lost_are_open():
    assert told(sensor(cure), vacuum=None)[1]["vacuum"].outcome is Outcome.OPEN
    lost = sensor(lambda m: 90, lost=range(60, 62))
    assert told(sensor(cure), vacuum=lost)[1]["vacuum"].outcome is Outcome.OPEN
    low = sensor(lambda m: 50 if m == 100 else 90, lost=range(60, 62))
    assert told(sensor(cure), vacuum=low)[1]["vacuum"].outcome is Outcome.NOT_MET
    late = sensor(lambda m: 90 if m < 150 else 0)  # 45 degC is reached at 145 min
    assert told(sensor(cure), vacuum=late)[1]["vacuum"].outcome is Outcome.MET
    unseen = sensor(cure, lost=range(140, 200))
    assert told(unseen, vacuum=late)[1]["vacuum"].outcome is Outcome.OPEN


def test_a_dwell_that_may_have_lasted_too_long_is_open():
    window = replace(WINDOW, dwell_most_minutes=100)
    assert told(sensor(cure), window=window)[1]["dwell"].outcome is Outcome.MET
    lost = sensor(cure, lost=range(128, 180))  # at 60 degC or above until 130 min
    assert told(lost, window=window)[1]["dwell"].outcome is Outcome.OPEN


def test_a_sensor_asked_every_ten_minutes_is_not_silent():
    rare = sensor(cure, minutes=range(0, 200, 10))
    check, found = told(sensor(cure), rare)
    assert check.outcome is Outcome.MET, outcomes(found)
    rarer = replace(WINDOW, silence_minutes=9)
    assert told(sensor(cure), rare, window=rarer)[0].outcome is Outcome.OPEN


@pytest.mark.parametrize("value", [NAN, float("inf")])
def test_values_that_are_no_numbers_are_refused(value):
    with pytest.raises(WindowError, match="dwell_least_c"):
        Window(dwell_least_c=value, dwell_least_minutes=60)
    with pytest.raises(TraceError, match="must be numbers"):
        Series((0.0, 1.0), (20.0, value))
    with pytest.raises(TraceError, match="must be numbers"):
        Series((0.0,), (20.0,), (value,))


# Silence only ever opens

LEVELS = st.sampled_from([20, 44, 45, 46, 59, 60, 61, 65, 89, 90, 91, 150])
STRETCH = st.tuples(LEVELS, st.integers(1, 20))


@st.composite
def recordings(draw):
    """Sensors and a vacuum, a reading a minute, level by level; some of it lost."""
    count = draw(st.integers(1, 60))

    def channel(levels):
        values = []
        for level, length in draw(st.lists(st.tuples(levels, st.integers(1, 25)))):
            values += [level] * length
        values = (values + [20] * count)[:count]
        if draw(st.booleans()):  # ramps of a few minutes instead of jumps
            ahead = [values[0]] * 4 + values
            values = [sum(ahead[k : k + 5]) / 5 for k in range(count)]
        return values

    def silences():
        found = set()
        for start, length in draw(
            st.lists(st.tuples(st.integers(0, count), st.integers(1, 20)), max_size=2)
        ):
            found |= set(range(start, min(count, start + length)))
        return found

    sensors = [channel(LEVELS) for _ in range(draw(st.integers(1, 3)))]
    vacuum = draw(st.none() | st.just(channel(st.sampled_from([0, 79, 80, 90]))))
    lost = [silences() for _ in range(len(sensors) + 1)]
    more = [gone | silences() for gone in lost]
    return sensors, vacuum, lost, more, count


def trace_of(sensors, vacuum, lost, count):
    def series(values, gone):
        return sensor(lambda m: values[m], range(count), sorted(gone))

    names = {f"tc{k}": series(v, lost[k]) for k, v in enumerate(sensors)}
    suction = None if vacuum is None else series(vacuum, lost[-1])
    return Trace(names, suction, Span(0.0, float(count - 1)))


def asked():
    """Windows that ask for a random part of all that can be asked."""
    maybe = {
        "dwell_most_c": [None, 65, 90],
        "dwell_most_minutes": [None, 12, 20, 40],
        "heating_most": [None, 1, 8, 30],
        "heating_least": [None, 0.2, 2],
        "peak_most_c": [None, 90, 150],
        "cooling_most": [None, 1, 8, 30],
        "end_most_c": [None, 44, 60],
        "vacuum_least_kpa": [None, 80],
        "vacuum_until_c": [None, 45],
    }
    return st.builds(
        Window,
        dwell_least_c=st.sampled_from([45, 60]),
        dwell_least_minutes=st.sampled_from([5, 10, 20, 30]),
        **{name: st.sampled_from(values) for name, values in maybe.items()},
    )


@settings(max_examples=CASES, deadline=None)
@given(recordings(), asked())
def test_more_silence_only_ever_opens(recording, window):
    """Never open or not met into met, nor met or open into not met."""
    sensors, vacuum, lost, more, count = recording
    before = check_cure(trace_of(sensors, vacuum, lost, count), window)
    after = check_cure(trace_of(sensors, vacuum, more, count), window)
    for one, other in zip(before.requirements, after.requirements, strict=True):
        assert one.name == other.name
        assert other.outcome in (one.outcome, Outcome.OPEN), (one, other)


@settings(max_examples=CASES, deadline=None)
@given(recordings(), asked(), st.data())
def test_cells_that_stay_empty_for_too_long_are_a_silence(recording, window, data):
    """Empty cells, not lost ones: longer than the sensor may be silent, they open too,
    wherever the sensor was heard before."""
    sensors, vacuum, _, _, count = recording
    nothing = [set()] * (len(sensors) + 1)
    window = replace(window, silence_minutes=1)
    gone = data.draw(st.sets(st.integers(0, count - 1)))
    # At the ends a sensor may be silent for a minute too.
    gone |= {1} if 0 in gone else set()
    gone |= {count - 2} if count - 1 in gone else set()
    assume(len(gone & set(range(count))) < count)
    whole = trace_of(sensors, vacuum, nothing, count)
    values = sensors[0]
    heard = [minute for minute in range(count) if minute not in gone]
    quiet = sensor(lambda m: values[m], heard)
    partly = replace(whole, sensors=whole.sensors | {"tc0": quiet})
    before, after = check_cure(whole, window), check_cure(partly, window)
    for one, other in zip(before.requirements, after.requirements, strict=True):
        if other.outcome is Outcome.MET:
            assert one.outcome is Outcome.MET, (one, other)
