"""Directions of a smooth outline that is known by few stations. Expectations are plain
geometry: the true normals of rounded rectangles and ellipses; no published source.

Largest error of direction, degrees. "Before": bisectors. "Curve": the smooth curve by
itself, which is what outlines have that are no plain shape; of the ones below that have
no corner, then of those where a station on a small round turns by more than 60 degrees
(SMALL, and the others in the same case; with 12, 75 of 257 have too few stations on a
side, and the 25.8 is at a round where none turns by 60, like those of SHORT). "Now":
places to a hundredth, rectangles of every kind below, nothing said of a corner; none is
refused. All of it over 40 phases of the stations on each outline.

    stations              12    16    20    24    32    48
    rectangle, before   20.2  29.5  26.5  18.8  17.1  11.3
               curve     8.2   2.7   3.1   0.6   0.5   0.4
    small round, before 41.2  40.1  38.8  37.5  34.3  28.8
               curve    25.8   2.2   0.9   0.9   0.9   0.8
    rectangle, now       0.9   1.2   1.4   0.8   0.3   0.1
    ellipse, before     10.0   6.7  13.2  10.6   7.1   3.7
             curve       3.9   1.7   5.6   4.0   1.8   0.7
             now         0.0   0.0   0.0   0.0   0.0   0.0

A side with two stations between corners with none (SHORT, by 12) has the places of a
round end, and a curve by itself does not tell them apart: 30.0 before, 32.5 by it, at
those two; now 0.1, by the rectangle that all stations lie on.
"""

import math
import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from qa.numeric.geometry import outline
from qa.numeric.geometry.edge_curve import Course, corners, edge_curve
from qa.numeric.geometry.joint import JointError, Station, build_joint

RECTANGLES = [  # width, height, radius of the corners
    *((600, 400, 60), (900, 700, 120), (1000, 500, 250), (1200, 900, 200)),
    *((700, 700, 150), (1100, 700, 90)),
]
SMALL = [  # a round holds one station, or none
    *((600, 400, 20), (600, 400, 60), (900, 700, 120), (1100, 700, 90)),
    *((1200, 900, 40), (700, 700, 150), (500, 300, 30)),
]
SHORT = [(1100, 500, 90)]
LONG = [(500, 500), (600, 450), (800, 400), (1000, 340), (1200, 400)]
ELLIPSES = [(500, 500), (600, 450), (800, 400), (1000, 340)]
PHASES = [k * 0.618034 % 1 for k in range(40)]
# Of the phases each size has every one in .ci/long, else two of its own.
SPARSE = 1 if "FAYLINE_CASES" in os.environ else 20


def on_rectangle(width, height, radius, s):
    """Place and outward normal at s mm from the middle of the right side, by quarters:
    up the side, round the corner, along the top, and mirrored."""
    side, top = height / 2 - radius, width / 2 - radius
    arc = radius * math.pi / 2
    quarter = side + arc + top
    number, s = divmod(s, quarter)
    s = quarter - s if number % 2 else s
    if s <= side:
        x, y, nx, ny = width / 2, s, 1.0, 0.0
    elif s <= side + arc:
        nx, ny = math.cos((s - side) / radius), math.sin((s - side) / radius)
        x, y = top + radius * nx, side + radius * ny
    else:
        x, y, nx, ny = top - (s - side - arc), height / 2, 0.0, 1.0
    left, low = number in (1, 2), number in (2, 3)
    return (-x if left else x, -y if low else y), (
        -nx if left else nx,
        -ny if low else ny,
    )


def rectangle(size, count, phase):
    width, height, radius = size
    whole = 2 * (width + height) - 8 * radius + 2 * math.pi * radius
    at = [
        on_rectangle(*size, (k + phase) % count * whole / count) for k in range(count)
    ]
    return [place for place, _ in at], [normal for _, normal in at]


def ellipse(size, count, phase):
    a, b = size[0] / 2, size[1] / 2
    fine = np.linspace(0, 2 * math.pi, 20_001)
    speed = np.hypot(a * np.sin(fine), b * np.cos(fine))
    gone = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2)])
    wanted = (np.arange(count) + phase) % count / count * gone[-1]
    t = np.interp(wanted, gone, fine)
    normals = np.column_stack([np.cos(t) / a, np.sin(t) / b])
    normals /= np.hypot(*normals.T)[:, None]
    return list(zip(a * np.cos(t), b * np.sin(t), strict=True)), normals


def stations(places, **more):
    return [Station(str(k + 1), (x, y, 0.0), **more) for k, (x, y) in enumerate(places)]


def polygon(places):
    """Headings of the edges that arrive at each place, and how far it turns there."""
    heads = [
        math.atan2(y - v, x - u)
        for (u, v), (x, y) in zip([places[-1], *places[:-1]], places, strict=True)
    ]
    turns = [
        math.remainder(after - head, 2 * math.pi)
        for head, after in zip(heads, [*heads[1:], heads[0]], strict=True)
    ]
    return heads, turns


def off(found, true) -> float:
    """Largest angle between directions, degrees."""
    return max(
        abs(
            math.degrees(
                math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
            )
        )
        for a, b in zip(found, true, strict=True)
    )


def by_curve(places, said):
    """Directions of the smooth curve alone, whatever plain shape the places have; None
    where too few stations tell how a round lies. `said`: every one is round."""
    at = np.column_stack([np.array(places), np.zeros(len(places))])
    faces, none = np.tile([0.0, 0.0, 1.0], (len(at), 1)), np.zeros(len(at), dtype=bool)
    found, turns = outline.right_hand_normals(at, faces, True, none, none | said)
    broken = outline.breaks(at, turns, True, none, none | said)
    return None if outline.untold(turns, True, broken, none | said).any() else found


def errors(make, sizes, count, sharp=False):
    """(before, after): the largest over outlines of which no station turns by more than
    60 degrees; over those of which one does, `sharp`, said to be round, where how many
    of those have too few stations comes first."""
    before, after, refused = [], [], 0
    for size in sizes:
        for phase in PHASES:
            places, true = make(size, count, phase)
            heads, turns = polygon(places)
            if (max(map(abs, turns)) > math.radians(60)) != sharp:
                continue
            found = by_curve(places, sharp)
            if found is None:
                assert sharp
                refused += 1
                continue
            halves = [
                (math.sin(head + turn / 2), -math.cos(head + turn / 2))
                for head, turn in zip(heads, turns, strict=True)
            ]
            before.append(off(halves, true))
            after.append(off(found, true))
    assert len(after) >= 5
    return (refused, max(before), max(after)) if sharp else (max(before), max(after))


@pytest.mark.parametrize(
    ("make", "sizes", "count", "before", "after"),
    [
        (rectangle, SHORT, 12, 30.0, 32.5),
        (rectangle, RECTANGLES, 12, 20.2, 8.2),
        (rectangle, RECTANGLES, 16, 29.5, 2.7),
        (rectangle, RECTANGLES, 20, 26.5, 3.1),
        (rectangle, RECTANGLES, 24, 18.8, 0.6),
        (rectangle, RECTANGLES, 32, 17.1, 0.5),
        (rectangle, RECTANGLES, 48, 11.3, 0.4),
        (ellipse, ELLIPSES, 12, 10.0, 3.9),
        (ellipse, ELLIPSES, 16, 6.7, 1.7),
        (ellipse, ELLIPSES, 20, 13.2, 5.6),
        (ellipse, ELLIPSES, 24, 10.6, 4.0),
        (ellipse, ELLIPSES, 32, 7.1, 1.8),
        (ellipse, ELLIPSES, 48, 3.7, 0.7),
    ],
)
def test_a_smooth_outline_gets_the_directions_of_a_curve(
    make, sizes, count, before, after
):
    assert errors(make, sizes, count) == pytest.approx((before, after), abs=0.06)


@pytest.mark.parametrize(
    ("count", "refused", "before", "after"),
    [
        *((12, 75, 41.2, 25.8), (16, 0, 40.1, 2.2), (20, 0, 38.8, 0.9)),
        *((24, 0, 37.5, 0.9), (32, 0, 34.3, 0.9), (48, 0, 28.8, 0.8)),
    ],
)
def test_a_round_that_holds_one_station_is_a_curve_where_that_is_said(
    count, refused, before, after
):
    found = errors(rectangle, SMALL, count, sharp=True)
    assert found == pytest.approx((refused, before, after), abs=0.06)


@pytest.mark.parametrize("count", [12, 16, 20, 24, 32, 48])
def test_rectangles_with_rounds_and_ellipses_map_at_the_first_try(count):
    """Places to a hundredth, turned anyhow, and nothing said of a corner."""
    worst = {}
    for make, sizes in ((rectangle, RECTANGLES + SMALL + SHORT), (ellipse, LONG)):
        for number, size in enumerate(sizes):
            for phase in PHASES[number % SPARSE :: SPARSE]:
                places, true = make(size, count, phase)
                turn = np.exp(1j * (number + phase))
                places, true = (
                    np.array([complex(*one) * turn for one in some])
                    for some in (places, true)
                )
                at = np.column_stack([places.real, places.imag]).round(2)
                ways = build_joint(stations(at.tolist())).gap_directions
                error = off(ways, np.column_stack([true.real, true.imag]))
                worst[make] = max(worst.get(make, 0.0), error)
    assert worst[rectangle] < (2 if count < 24 else 1) and worst[ellipse] < 0.02


def sides_of(corners, radius, on_side):
    """Places on the sides between corners, and on the middle of a round of each."""
    found = []
    for before, corner, after in zip(
        [corners[-1], *corners[:-1]], corners, [*corners[1:], corners[0]], strict=True
    ):
        back, ahead = ((z - corner) / abs(z - corner) for z in (before, after))
        half = abs(np.angle(ahead / back)) / 2
        inward = (back + ahead) / abs(back + ahead)
        found.append(corner + inward * radius * (1 / math.sin(half) - 1))
        reach = abs(after - corner)
        found += [corner + ahead * reach * k / on_side for k in range(1, on_side)]
    return [(round(z.real, 2), round(z.imag, 2)) for z in found]


def test_a_round_between_straight_sides_is_told_from_a_sharp_corner():
    """Four sides askew, rounds of 40: no plain shape. Directions by hand: between the
    sides. Sharp, each corner is asked for, and so it is with sides of two stations."""
    corners = [-500 - 300j, 480 - 330j, 520 + 310j, -450 + 280j]
    joint = build_joint(stations(sides_of(corners, 40, 5)))
    for k, corner in enumerate(corners):
        ways = [
            (z - corner) / abs(z - corner) for z in (corners[k - 1], corners[k - 3])
        ]
        out = -sum(ways) / abs(sum(ways))
        assert off(joint.gap_directions[5 * k : 5 * k + 1], [(out.real, out.imag)]) < 2
    for radius, on_side in ((0, 5), (2, 5), (40, 3)):
        with pytest.raises(JointError) as refused:
            build_joint(stations(sides_of(corners, radius, on_side)))
        rows = [one.row for one in refused.value.complaints]
        assert rows == [on_side * k for k in range(4)]


def test_a_sharp_rectangle_whose_ends_no_station_shows_is_asked_for():
    """Half circles would go through all of these too, and no ends be there at all."""
    top = [(x, 300) for x in (500, 400, 233, 90, -78, -500)]
    with pytest.raises(JointError) as refused:
        build_joint(stations([(-x, -y) for x, y in top] + top))
    assert [one.row for one in refused.value.complaints] == [0, 5, 6, 11]


def bowed(bow, phases, on_side):
    """Places and normals on a square of arcs: each side of 500 mm turns by `bow`
    degrees, each round of 30 mm by the rest. `phases` along every side and round."""
    places, normals = [], []
    x = y = heading = 0.0
    rest = math.radians(90 - bow)
    parts = iter(phases)
    for length, curvature, count in [
        *((500.0, math.radians(bow) / 500, on_side), (30 * rest, 1 / 30, 1))
    ] * 4:
        at = sorted(next(parts) for _ in range(count))
        for part in (*at, 1.0):
            gone = part * length
            half = curvature * gone / 2
            chord = gone * (math.sin(half) / half if half else 1.0)
            way, ahead = heading + half, heading + 2 * half
            place = (x + chord * math.cos(way), y + chord * math.sin(way))
            if part < 1:
                places.append(place)
                normals.append((math.sin(ahead), -math.cos(ahead)))
        (x, y), heading = place, ahead
    return places, normals


@settings(max_examples=50)
@given(data=st.data(), bow=st.sampled_from([0, 10, 20]))
def test_a_round_with_one_station_is_told_by_its_sides_however_uneven(data, bow):
    """Two stations on each where they are straight, three where they bow."""
    count = 3 if bow else 2
    apart = [st.floats(0.05 + 0.3 * k, 0.25 + 0.3 * k) for k in range(count)]
    phases = data.draw(st.tuples(*[*apart, st.floats(0.3, 0.7)] * 4))
    places, true = bowed(bow, phases, count)
    turns = np.degrees(polygon(places)[1])
    assume(turns[count :: count + 1].min() > 60)  # a little less is as it is above
    joint = build_joint(stations(places, corner=False))
    assert off(joint.gap_directions, true) < 2.5


def test_a_round_with_one_station_is_refused_where_a_side_does_not_tell_how_it_lies():
    """By one station a side of 600 x 400, shifted by 150 mm, two looked 28 degrees off
    where nothing was said; a stated direction helps, an open end does not."""
    right = [(294.142, -194.142), (300, -90), (300, 90), (294.142, 194.142)]
    around = [*right, (150, 200), *((-x, -y) for x, y in right), (-150, -200)]
    said = stations(around, corner=False)
    with pytest.raises(JointError) as refused:
        build_joint(said)
    found = refused.value.complaints
    assert [(one.row, one.field) for one in found] == [
        (row, "gap_direction") for row in (0, 3, 5, 8)
    ]
    assert all("too few stations" in one.text for one in found)
    for row, way in ((0, (1, -1)), (3, (1, 1)), (5, (-1, 1)), (8, (-1, -1))):
        said[row] = replace(said[row], gap_direction=(*way, 0.0))
    build_joint(said)
    for end in ([], [(150, 200)]):
        seam = stations([*right, *end], corner=False)[1:]
        if end:
            with pytest.raises(JointError, match="too few stations"):
                build_joint(seam, closed=False)
        else:
            build_joint(seam, closed=False)


@given(
    steps=st.lists(st.floats(0.05, 1.0), min_size=7, max_size=40),
    radius=st.floats(10, 2000),
    begin=st.floats(0, 6),
    open_seam=st.booleans(),
)
def test_stations_of_a_circle_get_its_directions_however_uneven(
    steps, radius, begin, open_seam
):
    """Round, or over 200 degrees of it: the ends of an open seam too."""
    whole = math.radians(200) if open_seam else 2 * math.pi
    around = begin + np.concatenate([[0], np.cumsum(steps)])[: len(steps)] * whole / (
        sum(steps[:-1]) if open_seam else sum(steps)
    )
    true = [(math.cos(t), math.sin(t)) for t in around]
    places = [(radius * x, radius * y) for x, y in true]
    _, turns = polygon(places)
    if max(map(abs, turns[1:-1] if open_seam else turns)) > math.radians(60):
        return
    joint = build_joint(stations(places), closed=not open_seam)
    assert off(joint.gap_directions, true) < 1e-5


@given(
    bend=st.floats(0, 59),
    one=st.floats(5, 500),
    other=st.floats(5, 500),
    noise=st.lists(st.floats(-0.3, 0.3), min_size=10, max_size=10),
)
def test_a_direction_never_leaves_the_two_edges_it_lies_between(
    bend, one, other, noise
):
    t = math.radians(bend)
    places = [(-one * k, n) for k, n in zip((2.6, 1.7, 1), noise, strict=False)]
    places += [(0.0, 0.0)]
    places += [
        (other * k * math.cos(t), other * k * math.sin(t) + n)
        for k, n in zip((1, 1.8, 2.5), noise[3:], strict=False)
    ]
    heads, turns = polygon(places)
    if max(map(abs, turns[1:-1])) > math.radians(60):
        return
    joint = build_joint(stations(places), closed=False)
    for row in range(1, len(places) - 1):
        x, y, _ = joint.gap_directions[row]
        lean = math.remainder(math.atan2(x, -y) - heads[row], 2 * math.pi)
        low, high = sorted((0.0, turns[row]))
        assert low - 1e-9 <= lean <= high + 1e-9


def test_a_straight_side_stays_straight_up_to_a_round_corner():
    """Three stations in a line say that it is one: the last of them looks along it."""
    places, true = rectangle((900, 700, 120), 24, 0.3)
    joint = build_joint(stations(places))
    flat = [row for row, normal in enumerate(true) if max(map(abs, normal)) == 1.0]
    assert len(flat) > 12
    assert off(joint.gap_directions[flat], np.array(true)[flat]) < 0.5


# Corners


def test_a_turn_of_60_degrees_is_smooth_and_a_little_more_is_a_corner():
    hexagon = [
        (100 * math.cos(k * math.pi / 3), 100 * math.sin(k * math.pi / 3))
        for k in range(6)
    ]
    rounded = [(round(x, 2), round(y, 2)) for x, y in hexagon]
    assert off(build_joint(stations(rounded)).gap_directions, hexagon) < 0.1
    sharper = [(300, 0), *hexagon[1:]]
    with pytest.raises(JointError) as refused:
        build_joint(stations(sharper))
    (only,) = refused.value.complaints
    assert (only.row, only.field) == (0, "gap_direction")
    assert "a sharp corner" in only.text and "more stations on the round" in only.text
    assert "say no under corner" in only.text
    # Said, it is one up to 120 degrees, and a spike stays a corner whatever is said.
    with pytest.raises(JointError, match="more than 120"):
        build_joint(stations(sharper, corner=False))
    t = math.radians(35)
    tip = [(-100 * abs(k) * math.cos(t), 100 * k * math.sin(t)) for k in range(-2, 3)]
    joint = build_joint(stations(tip, corner=False), closed=False)
    assert off(joint.gap_directions[2:3], [(1, 0)]) < 1e-9


def test_a_corner_that_turns_little_is_one_where_it_is_marked():
    """Two straight sides that meet by 40 degrees, as a chamfer does."""
    t = math.radians(40)
    sides = [(-200, 0), (-100, 0), (0, 0)]
    sides += [(100 * k * math.cos(t), 100 * k * math.sin(t)) for k in (1, 2)]
    marked = [
        Station(str(k), (*place, 0.0), corner=k == 2) for k, place in enumerate(sides)
    ]
    with pytest.raises(
        JointError, match="marked as a corner, and the seam turns by 40"
    ):
        build_joint(marked, closed=False)
    stated = [
        Station(str(k), (*place, 0.0), corner=k == 2,
                gap_direction=(0.0, -1.0, 0.0) if k == 2 else None)
        for k, place in enumerate(sides)
    ]  # fmt: skip
    joint = build_joint(stated, closed=False)
    down, aside = (0, -1), (math.sin(t), -math.cos(t))
    assert off(joint.gap_directions, [down, down, down, aside, aside]) < 1e-9


def test_two_stations_in_one_place_are_a_corner_of_curved_sides():
    """A lens of two arcs of 120 degrees: each side has the directions of its own."""
    arc = [math.radians(30 + 20 * k) for k in range(7)]
    upper = [(300 * math.cos(t), 300 * math.sin(t) - 150) for t in arc]
    lower = [(-x, -y) for x, y in upper]
    true = [(math.cos(t), math.sin(t)) for t in arc]
    true += [(-x, -y) for x, y in true]
    joint = build_joint(stations([*upper, *lower]))
    assert off(joint.gap_directions, true) < 1e-5


# The edge that is drawn, and where it has corners


@pytest.mark.parametrize("count", [16, 24, 48])
def test_the_edge_drawn_through_few_stations_has_the_length_of_the_outline(count):
    """An ellipse of 600 x 450: its length by its own integral, to 1e-9. A rectangle of
    900 x 700 with corners of 150: 2 (900 + 700) - 8 x 150 + 2 pi 150."""
    fine = np.linspace(0, 2 * math.pi, 20_001)
    speed = np.hypot(300 * np.sin(fine), 225 * np.cos(fine))
    round_ = float(np.trapezoid(speed, fine))
    places, _ = ellipse((600, 450), count, 0.3)
    assert edge_curve(build_joint(stations(places))).length == pytest.approx(
        round_, rel=1e-3
    )
    if count == 16:
        return  # its corners turn by more than 60 degrees between two stations
    places, _ = rectangle((900, 700, 150), count, 0.05)
    assert edge_curve(build_joint(stations(places))).length == pytest.approx(
        3200 - 1200 + 300 * math.pi, rel=5e-3
    )


def test_few_stations_on_a_smooth_outline_are_no_corners():
    around = [2 * math.pi * k / 12 for k in range(12)]
    joint = build_joint(
        stations([(300 * math.cos(t), 300 * math.sin(t)) for t in around])
    )
    assert not corners(joint).any()
    assert Course(edge_curve(joint).bends).corners == ()


def test_a_marked_corner_ends_the_strips_of_a_template_and_fairness():
    """Two bowed sides that meet by about 40 degrees: the same without the mark is one
    smooth bend, with a direction stated in both."""
    t = math.radians(40)
    sides = [(-200, 3), (-100, 0.5), (0, 0)]
    sides += [(100 * k * math.cos(t) - 2 * k, 100 * k * math.sin(t)) for k in (1, 2)]
    way = (math.sin(t / 2), -math.cos(t / 2), 0.0)

    def seam(marked):
        rows = stations(sides)
        rows[2] = replace(rows[2], gap_direction=way, corner=marked)
        return build_joint(rows, closed=False)

    assert Course(edge_curve(seam(False)).bends).corners == ()
    marked = Course(edge_curve(seam(True)).bends)
    assert marked.corners == pytest.approx((200,), abs=1)
    assert corners(seam(True)).any() and not corners(seam(False)).any()


def test_two_stations_in_one_place_and_a_hidden_corner_are_corners():
    square = [(50, 0), (100, 0), (100, 0), (100, 100), (100, 100), (50, 100)]
    joint = build_joint(stations(square), closed=False)
    assert corners(joint).tolist() == [False, True, False, True, False, False]
    hidden = [
        Station(str(k), (x, y, 0.0), gap_direction=(*way, 0.0))
        for k, (x, y, way) in enumerate(
            [(0, 0, (0, -1)), (90, 0, (0, -1)), (100, 10, (1, 0)), (100, 90, (1, 0))]
        )
    ]
    assert corners(build_joint(hidden, closed=False)).tolist()[:3] == [
        *(False, True, False)
    ]
