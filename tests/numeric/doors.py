"""Joints and readings for the tests of planning, and a second way to the optimum."""

import math

import numpy as np

from qa.numeric.geometry.joint import Limits, Station, build_joint


def square(gap=(1.0, 3.0), flush=(None, None), half=100.0, **station):
    """Four stations, one in the middle of each side: right, top, left, bottom."""
    places = ((half, 0), (0, half), (-half, 0), (0, -half))
    return build_joint(
        Station(
            name,
            (x, y, 0.0),
            gap_direction=(x / half, y / half, 0.0),
            gap=Limits(*gap),
            flush=Limits(*flush),
            **station,
        )
        for name, (x, y) in zip("RTLB", places, strict=True)
    )


def door(
    across=3, up=2, gap=(1.0, 3.0), flush=(-0.5, 0.5), size=(400.0, 250.0), **more
):
    """A rectangular door, `across` stations on long sides and `up` on short ones."""
    width, height = size
    xs = np.linspace(-0.8, 0.8, across) * width
    ys = np.linspace(-0.7, 0.7, up) * height
    rows = [((x, -height), (0, -1)) for x in xs]
    rows += [((width, y), (1, 0)) for y in ys]
    rows += [((x, height), (0, 1)) for x in xs[::-1]]
    rows += [((-width, y), (-1, 0)) for y in ys[::-1]]
    return build_joint(
        Station(
            str(number),
            (float(x), float(y), 0.0),
            gap_direction=(*map(float, normal), 0.0),
            gap=Limits(*gap),
            flush=Limits(*flush),
            **more,
        )
        for number, ((x, y), normal) in enumerate(rows, start=1)
    )


def turned(joint, x, y, degrees):
    """What a gap is short of after the exact move (x, y, turn about the mean), mm."""
    angle = math.radians(degrees)
    cosine, sine = math.cos(angle), math.sin(angle)
    matrix = np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1]])
    arms = joint.places - joint.places.mean(axis=0)
    moved = arms @ matrix.T - arms + np.array([x, y, 0.0])
    return (joint.gap_directions * moved).sum(axis=1)


def none(joint):
    return [None] * len(joint.stations)


def linear_programme(joint, gaps, angle, move, most_trim):
    """(rows A, b, columns' bounds, costs by name) at one exact turn: A x <= b.

    Columns: x, y, worst, then per station deviation, trim, excess. Written down as an
    epigraph, each station for itself, so that nothing is shared with the product.
    Limits must be two-sided.
    """
    count = len(joint.stations)
    drop = turned(joint, 0.0, 0.0, math.degrees(angle))
    rows, ends = [], []

    def add(terms, end):
        row = np.zeros(3 + 3 * count)
        for column, factor in terms:
            row[column] += factor
        rows.append(row)
        ends.append(end)

    for i, station in enumerate(joint.stations):
        nx, ny, _ = joint.gap_directions[i]
        low, high = station.gap.low, station.gap.high
        middle, half = (low + high) / 2, (high - low) / 2
        start = gaps[i] - drop[i]  # gap after = start - n.t + trim
        d, trim, excess = 3 + i, 3 + count + i, 3 + 2 * count + i
        more = [(0, -nx), (1, -ny), (trim, 1.0)]
        less = [(column, -factor) for column, factor in more]
        add([*more, (d, -half)], middle - start)
        add([*less, (d, -half)], start - middle)
        add([(d, 1.0), (2, -1.0)], 0.0)
        add([*more, (excess, -1.0)], high - start)
        add([*less, (excess, -1.0)], start - low)
        add(less, start)
    zeros = [0.0] * count
    low = [-move, -move, 0.0, *zeros, *zeros, *zeros]
    high = [move, move, np.inf, *[np.inf] * count, *[most_trim] * count]
    high += [np.inf] * count
    weights = joint.length_weights
    costs = {}
    for name, first, values in (
        ("worst", 2, [1.0]),
        ("total", 3, weights),
        ("area", 3 + count, weights),
        ("unresolved", 3 + 2 * count, weights),
    ):
        costs[name] = np.zeros(3 + 3 * count)
        costs[name][first : first + len(values)] = values
    return np.array(rows), np.array(ends), (np.array(low), np.array(high)), costs
