"""What is no number is refused by name, by every function that takes numbers.

Generated: each number of a call that is good is replaced by NaN and by infinities, one
at a time. A function that is new must be added here, or named as inner working.
"""

import importlib
import inspect
import math
import pkgutil

import numpy as np
import pytest

from qa.numeric.geometry import cut_line, edge_curve, joint, layout, seam, tape
from qa.numeric.holes import fasteners, position, rigid_fit, spacing
from qa.numeric.measuring import modes
from qa.numeric.plan import (
    adjusters,
    bite,
    motions,
    planner,
    result,
    setting_spread,
)
from qa.numeric.shims import stacks
from qa.numeric.tool import bounds, estimate, next_part
from qa.numeric.verdict import acceptance, deviation, ratio, simultaneous, witness
from shop.numeric import (
    aero,
    balance,
    cure,
    cure_check,
    cure_window,
    finite,
    laminate,
    milling,
    thermal,
    trace,
)
from tests.numeric import measuring_cases

ODD = (math.nan, math.inf, -math.inf)
PLACES = [[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [100.0, 80.0, 0.0], [0.0, 80.0, 0.0]]
HOLES = [[0.0, 0.0], [100.0, 0.0], [100.0, 80.0]]


def flat_joint(places, low=1.0, high=2.0):
    corner = math.sqrt(0.5)
    ways = [(-corner, -corner), (corner, -corner), (corner, corner), (-corner, corner)]
    return joint.build_joint(
        [
            joint.Station(
                str(row),
                tuple(place),
                gap_direction=(*way, 0.0),
                gap=joint.Limits(low, high),
                flush=joint.Limits(-0.3, 0.3),
            )
            for row, (place, way) in enumerate(zip(places, ways, strict=True))
        ]
    )


def hole_of(numbers):
    return position.Hole(
        label="A",
        nominal=(numbers[0], numbers[1]),
        measured=(numbers[2], numbers[3]),
        zone_mm=numbers[4],
        hole_mm=numbers[5],
        mmc_mm=numbers[6],
        hole_max_mm=numbers[7],
        edge_mm=numbers[8],
        fastener_mm=numbers[9],
    )


HOLE = [0.0, 0.0, 0.1, 0.1, 0.5, 5.1, 5.0, 5.2, 15.0, 5.0]
OTHER = [60.0, 0.0, 60.1, 0.1, 0.5, 5.1, 5.0, 5.2, 15.0, 5.0]


def two_holes(numbers):
    from dataclasses import replace

    return [hole_of(numbers[:10]), replace(hole_of(numbers[10:]), label="B")]


def shim_points(points):
    return [
        stacks.AttachPoint(f"P{row}", (x, y), now)
        for row, (x, y, now) in enumerate(points)
    ]


def pulled(gaps, flushes):
    return [
        estimate.PulledReading(str(part), row, gaps[part][row], flushes[part][row])
        for part in range(len(gaps))
        for row in range(len(gaps[part]))
    ]


POINTS = [[0.0, 0.0, 0.0], [100.0, 0.0, 0.5], [50.0, 80.0, 0.0]]


def ply(g, wet, fiber, resin, area):
    return laminate.Ply("skin", g, wet, fiber, resin, area)


def a_trace(minutes, values, vacuum):
    return trace.Trace(
        {"tc1": trace.Series(tuple(minutes), tuple(values))},
        trace.Series(tuple(minutes), tuple(vacuum)),
    )


RECORD = {
    "minutes": [0.0, 10.0, 20.0],
    "values": [20.0, 60.0, 20.0],
    "vacuum": [90.0, 90.0, 90.0],
}

# (function, call, numbers): each number is made odd in turn.
CASES = [
    (bite.next_bite, None, {"trim": 1.0, "fraction": 0.6, "floor": 0.1}),
    (finite.finite, None, {"one": 1.0, "several": [[1.0, 2.0], [3.0, 4.0]]}),
    (
        simultaneous.all_conform,
        lambda values, alone, common: simultaneous.all_conform(
            values, [joint.Limits(1.0, 2.0)] * 2, alone, common
        ),
        {"values": [1.5, 1.6], "alone": [0.1, 0.1], "common": 0.05},
    ),
    (bite.aim_of, None, {"scatter": 0.1}),
    (
        bite.sure_bite,
        None,
        {"trim": 1.0, "room": 1.0, "scatter": 0.1, "risk": 0.05, "floor": 0.1},
    ),
    (
        bite.learned,
        lambda cuts: bite.learned([bite.Round(*cut) for cut in cuts]),
        {"cuts": [[1.0, 0.8], [0.5, 0.41]]},
    ),
    (
        bite.corrected_bite,
        lambda bite_, trim: bite.corrected_bite(bite_, trim, None),
        {"bite_": 0.4, "trim": 1.0},
    ),
    (
        cut_line.depth_along,
        lambda cuts, at, length: cut_line.depth_along(cuts, at, length, True),
        {"cuts": [[0.0, 1.0], [50.0, 2.0]], "at": [10.0, 60.0], "length": 100.0},
    ),
    (
        cut_line.positions_on,
        lambda places, seam, along, length: cut_line.positions_on(
            places, seam, along, length, True
        ),
        {
            "places": [[10.0, 1.0, 0.0]],
            "seam": PLACES,
            "along": [0.0, 100.0, 180.0, 280.0],
            "length": 360.0,
        },
    ),
    (
        cut_line.lines_beyond,
        lambda taken, allowed, length: cut_line.lines_beyond(
            taken, allowed, length, True
        ),
        {
            "taken": [[[0.0, 1.0], [50.0, 2.0]]],
            "allowed": [[0.0, 1.5], [50.0, 1.5]],
            "length": 100.0,
        },
    ),
    (
        cut_line.run_outs,
        lambda depths: cut_line.run_outs(depths, True),
        {"depths": [0.0, 1.0, 0.0]},
    ),
    (
        deviation.drawn_in,
        lambda low, high, u: deviation.drawn_in(joint.Limits(low, high), u, "guarded"),
        {"low": 1.0, "high": 2.0, "u": 0.05},
    ),
    (
        deviation.scales,
        lambda low, high: deviation.scales([joint.Limits(low, high)]),
        {"low": 1.0, "high": 2.0},
    ),
    (fasteners.floating_tolerance, None, {"hole_mm": 5.2, "fastener_mm": 5.0}),
    (fasteners.floating_hole, None, {"fastener_mm": 5.0, "tolerance_mm": 0.2}),
    (fasteners.fixed_tolerance, None, {"hole_mm": 5.2, "fastener_mm": 5.0}),
    (
        fasteners.fixed_hole,
        None,
        {
            "fastener_mm": 5.0,
            "clear_mm": 0.1,
            "held_mm": 0.1,
            "through_mm": 3.0,
            "held_depth_mm": 4.0,
        },
    ),
    (
        fasteners.check_grip,
        lambda layers, least, most: fasteners.check_grip(
            layers, fasteners.Grip(least, most, "test")
        ),
        {"layers": [1.0, 2.0], "least": 0.0, "most": 6.0},
    ),
    (position.position_mm, None, {"dx": 0.1, "dy": 0.2}),
    (position.material_bonus, None, {"actual": 5.1, "mmc": 5.0, "lmc": 5.2}),
    (
        position.judge_hole,
        lambda numbers: position.judge_hole(hole_of(numbers)),
        {"numbers": HOLE},
    ),
    (
        position.plan_holes,
        lambda numbers: position.plan_holes(two_holes(numbers)),
        {"numbers": HOLE + OTHER},
    ),
    (
        position.least_pitch,
        lambda numbers: position.least_pitch(two_holes(numbers)),
        {"numbers": HOLE + OTHER},
    ),
    (
        position.radial_clearance,
        None,
        {"first_hole_mm": 5.2, "second_hole_mm": 5.1, "fastener_mm": 5.0},
    ),
    (
        position.patterns_together,
        None,
        {"first": HOLES, "second": HOLES, "clearances_mm": [0.1, 0.1, 0.1]},
    ),
    (joint.build_joint, flat_joint, {"places": PLACES, "low": 1.0, "high": 2.0}),
    (
        edge_curve.edge_curve,
        lambda places: edge_curve.edge_curve(flat_joint(places)),
        {"places": PLACES},
    ),
    (
        layout.rounded_rectangle,
        lambda width, height, radius: layout.rounded_rectangle(
            width, height, radius, 24
        ),
        {"width": 400.0, "height": 300.0, "radius": 50.0},
    ),
    (
        setting_spread.came,
        lambda effect, apart: setting_spread.came(
            [setting_spread.SetRound(("a",), np.array([effect]).T, np.array(apart))]
        ),
        {"effect": [1.0, 0.5], "apart": [0.1, 0.2]},
    ),
    (
        layout.rounded_rectangle_by_tape,
        lambda width, height, radius, gone: layout.rounded_rectangle_by_tape(
            width, height, radius, [gone, [10.0], [10.0], []]
        ),
        {"width": 400.0, "height": 300.0, "radius": 50.0, "gone": [5.0, 100.0]},
    ),
    (
        layout.polyline_by_tape,
        lambda corners, gone: layout.polyline_by_tape(corners, [gone, [10.0], []]),
        {"corners": [[0.0, 0.0], [90.0, 0.0], [90.0, 50.0]], "gone": [5.0, 60.0]},
    ),
    (
        tape.lay,
        lambda places, gone: tape.lay(
            [
                tape.Row(joint.Station("", (*places[0], 0.0)), point=True),
                tape.Row(joint.Station("1", (0.0, 0.0, 0.0)), tape=gone),
                tape.Row(joint.Station("", (*places[1], 0.0)), point=True),
                tape.Row(joint.Station("", (*places[2], 0.0)), point=True),
            ],
            closed=True,
            part_inside=True,
        ),
        {"places": [[0.0, 0.0], [90.0, 0.0], [90.0, 50.0]], "gone": 5.0},
    ),
    (
        layout.rounded_rectangle_by_side,
        lambda width, height, radius: layout.rounded_rectangle_by_side(
            width, height, radius, [4, 4, 4, 4], per_corner=2
        ),
        {"width": 400.0, "height": 300.0, "radius": 50.0},
    ),
    (
        layout.ellipse,
        lambda width, height: layout.ellipse(width, height, 24),
        {"width": 400.0, "height": 300.0},
    ),
    (
        layout.polyline,
        lambda corners: layout.polyline(corners, 12),
        {"corners": [[0.0, 0.0], [400.0, 0.0], [400.0, 300.0]]},
    ),
    (
        layout.polyline_by_side,
        lambda corners: layout.polyline_by_side(corners, [4, 4, 4]),
        {"corners": [[0.0, 0.0], [400.0, 0.0], [400.0, 300.0]]},
    ),
    (
        seam.turning_sense_of,
        lambda points: seam.turning_sense_of(seam.Curve(np.array(points), True)),
        {"points": [[0.0, 0.0], [400.0, 0.0], [400.0, 300.0]]},
    ),
    (
        seam.join,
        lambda line, near: seam.join([np.array(line)], near),
        {"line": [[0.0, 0.0], [400.0, 0.0], [400.0, 300.0]], "near": 0.01},
    ),
    *[
        (
            along,
            lambda points, at, along=along: along(
                seam.Curve(np.array(points), True), np.array([at])
            ),
            {"points": [[0.0, 0.0], [400.0, 0.0], [400.0, 300.0]], "at": [9.0, 1.0]},
        )
        for along in (seam.gap_directions, seam.distances_to, seam.distances_from)
    ],
    (
        adjusters.Adjuster,
        lambda place, way, ends, now: adjusters.Adjuster("A", place, way, *ends, now),
        {
            "place": [0.0, 0.0, 0.0],
            "way": [1.0, 0.0, 0.0],
            "ends": [-1.0, 1.0, 0.1],
            "now": 0.0,
        },
    ),
    (
        planner.plan_fit,
        lambda gaps, flushes, most: planner.plan_fit(
            flat_joint(PLACES), gaps, flushes, result.PlanOptions(max_move_mm=most)
        ),
        {"gaps": [1.5, 1.6, 1.4, 1.5], "flushes": [0.0, 0.1, 0.0, 0.1], "most": 3.0},
    ),
    (rigid_fit.least_squares, None, {"measured": HOLES, "nominal": HOLES}),
    (
        rigid_fit.minimax,
        None,
        {"measured": HOLES, "nominal": HOLES, "allowances": [0.1, 0.1, 0.1]},
    ),
    (
        rigid_fit.smallest_enclosing,
        lambda points, radii: rigid_fit.smallest_enclosing(
            np.array([complex(*point) for point in points]), np.array(radii)
        ),
        {"points": HOLES, "radii": [0.1, 0.1, 0.1]},
    ),
    (
        stacks.plan_shims,
        lambda places, flush, points, stock: stacks.plan_shims(
            places,
            [[0.0, 0.0, 1.0]] * 4,
            flush,
            deviation.scales([joint.Limits(-0.3, 0.3)] * 4),
            shim_points(points),
            stock,
            2,
        ),
        {
            "places": PLACES,
            "flush": [0.1, 0.2, 0.0, 0.1],
            "points": POINTS,
            "stock": [0.25, 0.5],
        },
    ),
    (
        stacks.settled_on,
        lambda places, points, heights: stacks.settled_on(
            places, [[0.0, 0.0, 1.0]] * 4, shim_points(points), heights
        ),
        {"places": PLACES, "points": POINTS, "heights": [0.1, 0.2, 0.3]},
    ),
    (
        spacing.spacing_shortfalls,
        lambda edge, pitch: spacing.spacing_shortfalls(
            spacing.SPACING_RULES[0], edge_ratio=edge, pitch_ratio=pitch
        ),
        {"edge": 2.0, "pitch": 3.0},
    ),
    (acceptance.nearest_nm, None, {"mm": 1.0}),
    (ratio.ratio_ppm, None, {"upper": 3.0, "lower": 2.0}),
    (
        ratio.ratio_u_ppm,
        None,
        {"upper": 3.0, "lower": 2.0, "u_upper": 0.1, "u_lower": 0.1},
    ),
    (
        acceptance.conformance_probability,
        None,
        {"x": 1.5, "low": 1.0, "high": 2.0, "u": 0.1},
    ),
    (
        acceptance.bridge_excess,
        None,
        {"radius_mm": 600.0, "a1_mm": 0.0, "a2_mm": 50.0, "d_mm": 25.0},
    ),
    *(
        (
            function,
            lambda places, length, function=function: function(places, length, True),
            {"places": [0.0, 100.0, 200.0, 250.0], "length": 300.0},
        )
        for function in (witness.longest_stretch, witness.well_spread, witness.choose)
    ),
    (
        motions.free_motions,
        None,
        {
            "center": [0.0, 0.0, 0.0],
            "max_move": 3.0,
            "max_turn": 0.01,
            "max_raise": 3.0,
            "max_tilt": 0.01,
        },
    ),
    (aero.unit_reynolds, None, {"speed_m_s": 50.0, "viscosity_m2_s": 1.46e-5}),
    (aero.viscosity_m2_s, None, {"altitude_m": 100.0}),
    (aero.allowed_mm, None, {"critical": 900.0, "reynolds_per_m": 3e6}),
    (
        aero.step_facing,
        lambda flush_mm: aero.step_facing("upstream", flush_mm),
        {"flush_mm": 0.1},
    ),
    (
        aero.judge_step,
        lambda flush_mm, reynolds_per_m, forward_critical: aero.judge_step(
            "upstream", flush_mm, reynolds_per_m, forward_critical=forward_critical
        ),
        {"flush_mm": 0.1, "reynolds_per_m": 3e6, "forward_critical": 900.0},
    ),
    (
        aero.wave_ratio,
        None,
        {"chord_in": 40.0, "chord_reynolds": 3e6, "sweep_deg": 5.0, "waves": 1},
    ),
    (
        balance.roll_up,
        lambda mass, arm: balance.roll_up([balance.Item("wing", mass, arm)]),
        {"mass": 80.0, "arm": 100.0},
    ),
    (
        balance.residual,
        lambda mass, arm: balance.residual(
            balance.roll_up([balance.Item("wing", 80.0, 100.0)]), mass, arm
        ),
        {"mass": 85.0, "arm": 100.0},
    ),
    (balance.shift, None, {"mass": 1.0, "moved_by": 10.0, "total_mass": 300.0}),
    (cure.pot_life, None, {"minutes": 25.0, "at_c": 25.0, "wanted_c": 20.0}),
    (
        cure.equivalent_age,
        None,
        {"periods": [[1.0, 20.0], [2.0, 25.0]], "reference_c": 23.0},
    ),
    (cure.bag_drop, None, {"start_kpa": 90.0, "end_kpa": 88.0, "share": 0.1}),
    (
        cure_check.check_cure,
        lambda minutes, values, vacuum, least, peak: cure_check.check_cure(
            a_trace(minutes, values, vacuum),
            cure_window.Window(least, 5.0, peak_most_c=peak),
        ),
        {**RECORD, "least": 50.0, "peak": 90.0},
    ),
    *(
        (
            function,
            lambda minutes, values, vacuum, least, longest, function=function: function(
                a_trace(minutes, values, vacuum), least, longest
            ),
            {**RECORD, "least": 50.0, "longest": 15.0},
        )
        for function in (trace.surely_at_least, trace.possibly_at_least)
    ),
    (
        trace.fastest_rate,
        lambda minutes, values, vacuum, start, end, over, longest: trace.fastest_rate(
            a_trace(minutes, values, vacuum), trace.Span(start, end), over, 1, longest
        ),
        {**RECORD, "start": 0.0, "end": 20.0, "over": 5.0, "longest": 15.0},
    ),
    *(
        (function, None, {"resin_fraction": 0.45, "fiber_density": 1.8, **more})
        for function, more in (
            (laminate.fiber_volume_fraction, {"resin_density": 1.15}),
            (laminate.laminate_density, {"resin_density": 1.15}),
            (
                laminate.void_percent,
                {"resin_density": 1.15, "measured_density": 1.4},
            ),
        )
    ),
    (
        laminate.fiber_mass_fraction,
        None,
        {"volume_fraction": 0.45, "fiber_density": 1.8, "resin_density": 1.15},
    ),
    (
        laminate.ply_thickness,
        None,
        {"fiber_g_m2": 200.0, "fiber_density": 1.8, "volume_fraction": 0.45},
    ),
    (laminate.ply_mass, None, {"fiber_g_m2": 200.0, "resin_fraction": 0.45}),
    (
        laminate.volume_fraction_from_thickness,
        None,
        {"plies": 2, "fiber_g_m2": 200.0, "fiber_density": 1.8, "thickness_mm": 0.5},
    ),
    (
        laminate.implied_resin_fraction,
        None,
        {"mass_g": 1000.0, "fiber_g": 500.0, "other_g": 10.0},
    ),
    (
        laminate.density_by_displacement,
        None,
        {"in_air_g": 10.0, "immersed_g": 3.0, "held_g": 1.0},
    ),
    *(
        (
            function,
            lambda g, wet, fiber, resin, area, function=function: function(
                [ply(g, wet, fiber, resin, area)]
            ),
            {"g": 200.0, "wet": 0.45, "fiber": 1.8, "resin": 1.15, "area": 0.5},
        )
        for function in (laminate.stack_up, laminate.resin_needed_g)
    ),
    (
        laminate.expected_mass,
        lambda g, area, resin, uptake, spread: laminate.expected_mass(
            [ply(g, 0.45, 1.8, 1.15, area)],
            resin_spread=resin,
            uptake_spread=uptake,
            area_spread=spread,
        ),
        {"g": 200.0, "area": 0.5, "resin": 0.03, "uptake": 0.2, "spread": 0.01},
    ),
    (laminate.mix, None, {"needed_g": 100.0, "loss": 0.1, "hardener_per_100": 30.0}),
    (
        milling.scallop_mm,
        None,
        {"radius": 6.0, "stepover": 2.0, "slope_deg": 10.0, "surface_radius": 300.0},
    ),
    (milling.stepover_mm, None, {"radius": 6.0, "scallop": 0.01, "slope_deg": 10.0}),
    (
        milling.striation_mm,
        None,
        {"play": 0.1, "slope_deg": 10.0, "height_play": 0.05},
    ),
    (milling.striation_governs_from_deg, None, {"play": 0.1, "scallop": 0.01}),
    (
        milling.finish_at_slopes,
        None,
        {
            "radius": 6.0,
            "stepover": 2.0,
            "play": 0.1,
            "sanding_mm": 0.2,
            "slopes_deg": [0.0, 10.0],
        },
    ),
    (thermal.growth, None, {"expansion": 10.0, "length": 100.0, "warmer_k": 5.0}),
    (
        thermal.gap_change,
        None,
        {
            "opening_expansion": 10.0,
            "opening_length": 100.0,
            "part_expansion": 70.0,
            "part_length": 100.0,
            "warmer_k": 5.0,
        },
    ),
    (
        thermal.tool_length,
        None,
        {
            "part_length": 100.0,
            "part_expansion": 3.0,
            "tool_expansion": 60.0,
            "set_above_k": 40.0,
        },
    ),
    (
        thermal.spring_in_deg,
        None,
        {
            "angle_deg": 90.0,
            "through_expansion": 40.0,
            "in_plane_expansion": 3.0,
            "cooled_k": 60.0,
        },
    ),
    *measuring_cases.CASES,
    (
        bounds.critical_value,
        lambda matrix, degrees, level: bounds.critical_value(
            [bounds.Family(np.array(matrix), degrees)], level
        ),
        {"matrix": [[1.0, 0.5], [0.5, 1.0]], "degrees": 9.0, "level": 0.95},
    ),
    (
        estimate.estimate_tool,
        lambda gaps, flushes, sd_mm, worth_mm: estimate.estimate_tool(
            flat_joint(PLACES), pulled(gaps, flushes), (), sd_mm, worth_mm
        ),
        {
            "gaps": [[1.5, 1.6, 1.4, 1.5], [1.4, 1.5, 1.5, 1.6]],
            "flushes": [[0.1, 0.0, 0.1, 0.0], [0.0, 0.1, 0.0, 0.1]],
            "sd_mm": 0.1,
            "worth_mm": 0.1,
        },
    ),
    (
        modes.modes,
        modes.modes,
        {
            "places": PLACES,
            "directions": [[0.0, 1.0, 0.0]] * len(PLACES),
            "gaps": [0.1, 0.0, 0.1, 0.0],
            "flushes": [0.0, 0.1, 0.0, 0.1],
        },
    ),
    (
        next_part.come,
        lambda expected, read: next_part.come(flat_joint(PLACES), (), expected, read),
        {
            "expected": [0.1, 0.0, 0.1, 0.0, 0.0, 0.1, 0.0, 0.1],
            "read": [1.5, 1.6, 1.4, 1.5, 0.1, 0.0, 0.1, 0.0],
        },
    ),
]

# An open end is no odd number there: limits that are not, a flat surface.
MAY_BE_ENDLESS = {
    (acceptance.conformance_probability, "low"),
    (acceptance.conformance_probability, "high"),
    (bite.sure_bite, "room"),
}

# Whole nanometers, texts and rows: no floating-point number comes in.
WHOLE = measuring_cases.WHOLE | {
    "bite.expected_scatter",
    *("bite.student", "grouping.group", "grouping.runs", "units.parse_length"),
    *("units.parse_typed", "units.fraction_nm", "paper_sizes.paper_named"),
    *("units.format_length", "report.judge_check", "report.assemble"),
    *("report.narrow_limits", "report.as_plain"),
    *("rest.rests", "rest.extremes", "acceptance.guard_factor"),
    *(
        "acceptance.acceptance",
        "acceptance.judge",
        "acceptance.accepts",
        "acceptance.deviation",
        "ratio.whole_beside",
    ),
    *("attribute_plans.code_letter", "attribute_plans.published_plan"),
    *("acceptance.feeler", "joint.station_complaints", "rotation.exact_turn"),
    *("joint.require_direction", "joint.plain_directions"),
    "joint_capability.outside",
}
# Inner workings: what reaches them was checked by build_joint, plan_fit or plan_shims.
INNER = {
    *(
        "at_ends",
        "bending",
        "lexicographic",
        "nearest",
        "outline",
        "plain_shape",
        "smooth_curve",
        "reasons",
        "readings",
        "seat",
        "rotation",
    ),
    *("characteristics", "least_squares", "scatter", "openings"),  # estimate_tool
    "opening_effects",  # estimate_tool
    *("trim", "separate", "proof", "search", "joint_arrays", "branching", "boxes"),
    *("lattice_aims", "set_remarks", "stack_planner", "resolution", "trifles"),
    *("known", "doubt", "between", "hardly_seen", "intervals", "assembly", "going"),
    *("shared_intervals", "outlook"),
}
INNER_FUNCTIONS = measuring_cases.INNER | {
    *("motions.cross_matrix", "motions.rotation_matrix", "motions.displace"),
    *("motions.rigid_move", "motions.freedom", "motions.seen", "motions.of_part"),
    "planner.plan_joints",
    *("ways.ways", "ways.worst_of"),
    *("rest.triples", "bounds.drawn", "bounds.draws_for"),
    "bounds.correlation",
    *("motions.described", "planner.planner_of"),
    *("motions.turned_by", "motions.rotation_vector"),
    *("rest.triples", "edge_curve.corners", "setting_spread.told_apart"),
    *("units.to_mm", "units.to_nm", "set_assembly.at_most"),
}


def public_functions():
    for package in ("qa.numeric", "shop.numeric"):
        inside = importlib.import_module(package)
        for found in pkgutil.walk_packages(inside.__path__, f"{package}."):
            module = importlib.import_module(found.name)
            for name, thing in vars(module).items():
                own = inspect.isfunction(thing) or hasattr(thing, "__wrapped__")
                if own and thing.__module__ == found.name and name[0] != "_":
                    yield f"{found.name.rsplit('.', 1)[1]}.{name}", thing


def test_every_public_function_is_here_or_named_as_one_that_takes_no_number():
    tried = {function for function, *_ in CASES}
    forgotten = [
        name
        for name, thing in public_functions()
        if thing not in tried
        and name not in WHOLE | INNER_FUNCTIONS
        and name.split(".")[0] not in INNER
    ]
    assert forgotten == []


def leaves(value, path=()):
    """Ways to every number in nested lists."""
    if isinstance(value, list):
        for k, one in enumerate(value):
            yield from leaves(one, (*path, k))
    else:
        yield path


def with_odd(value, path, odd):
    if not path:
        return odd
    return [
        with_odd(one, path[1:], odd) if k == path[0] else one
        for k, one in enumerate(value)
    ]


@pytest.mark.parametrize(
    ("function", "call", "numbers"),
    CASES,
    ids=[f"{f.__module__.split('.', 2)[2]}.{f.__name__}" for f, *_ in CASES],
)
def test_what_is_no_number_is_refused_with_a_named_error(function, call, numbers):
    call = call or function
    call(**numbers)  # good as it stands
    for name, value in numbers.items():
        for path in leaves(value):
            for odd in ODD:
                if (function, name) in MAY_BE_ENDLESS and not math.isnan(odd):
                    continue
                try:
                    given = call(**{**numbers, name: with_odd(value, path, odd)})
                except ValueError as why:
                    assert str(why), (name, path, odd)
                else:
                    pytest.fail(f"{name} {path} = {odd} gave {given}")
