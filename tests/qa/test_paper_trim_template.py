"""The trim template at true size: measured in the rendered page, not in our numbers.

Rendering is by PDFium at 600 dpi (0.042 mm a pixel). That printers scale the two
directions apart is common practice, no source; hence two bars.
"""

import contextlib
import io
import math
import re

import numpy as np
import pypdf
import pypdfium2
import pytest
from django.core.management import call_command
from hypothesis import example, given, settings
from hypothesis import strategies as st

from qa.numeric.geometry.edge_curve import edge_curve
from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions
from qa.paper import trim_template
from qa.paper.trim_layout import arrange, depths
from qa.queries.plans import edge_templates
from qa.queries.plans.edge_templates import TrimPoint
from tests.qa import drawn

DPI = 600
MM = DPI / 25.4


def rendered(template, paper: str, page: int = 0) -> np.ndarray:
    """Dark pixels (rows from the top, columns from the left) of one page."""
    document = pypdfium2.PdfDocument(trim_template.render(template, paper))
    image = document[page].render(scale=DPI / 72, grayscale=True)
    return image.to_numpy().squeeze() < 128


def runs(line: np.ndarray) -> list[tuple[int, int]]:
    """Starts and ends of stretches of dark pixels."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
    return list(zip(edges[0::2], edges[1::2], strict=True))


def longest_run(line: np.ndarray) -> float:
    return max((b - a for a, b in runs(line)), default=0) / MM


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("unit", "long"), [("mm", 100.0), ("in", 101.6)])
def test_both_bars_are_100_mm_or_4_in_on_the_rendered_page(paper, unit, long):
    template = drawn.trim_template(unit=unit)
    dark = rendered(template, paper)
    plan = arrange(template, paper)
    row = round((plan.height - plan.bar[1]) * MM)
    across = max(longest_run(dark[r]) for r in range(row - 3, row + 4))
    column = round(plan.bar_up[0] * MM)
    up = max(longest_run(dark[:, c]) for c in range(column - 3, column + 4))
    # The end ticks, 0.5 pt wide, add half their width at either end.
    wide = 0.5 * 25.4 / 72
    assert across - wide == pytest.approx(long, abs=0.1)
    assert up - wide == pytest.approx(long, abs=0.1)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("left", [True, False])
def test_ticks_stand_where_their_stations_are(paper, left):
    template = drawn.trim_template(length=1900.0, body_on_left=left)
    plan = arrange(template, paper)
    strip = plan.strips[1]
    dark = rendered(template, paper, strip.page - 1)
    # 3.5 mm from the edge on the paper's side there are only ticks and the frame.
    away = -3.5 if left else 3.5
    row = round((plan.height - strip.y - away) * MM)
    ticks = [(a + b) / 2 / MM - strip.x + strip.start for a, b in runs(dark[row])]
    wanted = [p.s for p in template.points if strip.start < p.s < strip.end]
    assert len(wanted) >= 2
    for s in wanted:
        assert min(abs(tick - s) for tick in ticks) < 0.1


@pytest.mark.parametrize("left", [True, False])
def test_the_cut_is_as_deep_as_planned_and_on_the_side_of_the_body(left):
    points = (
        TrimPoint(0.0, "1", 4.0, 2.4),
        TrimPoint(150.0, "2", 4.0, 2.4),
        TrimPoint(200.0, "3", 4.0, 2.4),
    )
    template = drawn.trim_template(
        points=points, length=200.0, closed=False, body_on_left=left
    )
    plan = arrange(template)
    strip = plan.strips[0]
    dark = rendered(template, "a4")
    # A column in the middle between stations; the hatching crosses it in short runs.
    columns = range(round((strip.x + 60) * MM), round((strip.x + 90) * MM))
    up = 1 if left else -1
    found = []
    for depth in np.arange(1.0, 6.0, 1 / MM):
        row = round((plan.height - strip.y - up * depth) * MM)
        found.append((np.mean([dark[row, c] for c in columns]), depth))
    solid = [depth for share, depth in found if share > 0.95]
    assert np.mean(solid) == pytest.approx(4.0, abs=0.1)
    dashed = [depth for share, depth in found if 0.55 < share <= 0.95]
    assert np.mean(dashed) == pytest.approx(2.4, abs=0.1)


def test_neighboring_strips_share_their_mark():
    template = drawn.trim_template()
    plan = arrange(template)
    assert len(plan.joints) == len(plan.strips) - 1
    for s, before, after in zip(
        plan.joints, plan.strips, plan.strips[1:], strict=False
    ):
        assert before.end - s >= 14.9 and s - after.start >= 14.9
    # Cut from station 3 to 15 and 20 mm on either side; 24 stations on 2600 mm.
    assert plan.strips[0].start == pytest.approx(2 * 2600 / 24 - 20)
    assert plan.strips[-1].end == pytest.approx(14 * 2600 / 24 + 20)


@example(length=653.0, count=2, deep=0.1, paper="letter", left=False)
@given(
    length=st.floats(40, 20_000),
    count=st.integers(2, 80),
    deep=st.floats(0.01, 20),
    paper=st.sampled_from(["a4", "letter"]),
    left=st.booleans(),
)
@settings(deadline=None)
def test_strips_cover_the_edge_and_stay_on_their_page(length, count, deep, paper, left):
    points = tuple(
        TrimPoint(length * i / count, str(i), deep, deep) for i in range(count)
    )
    template = drawn.trim_template(points=points, length=length, body_on_left=left)
    plan = arrange(template, paper)
    here = 0.0
    for strip in plan.strips:
        assert strip.start <= here + 1e-9
        here = strip.end
        assert strip.x + strip.end - strip.start <= plan.width - 20
        up = 1 if left else -1
        for y in (strip.y - up * 19.0, strip.y + up * (deep + 9.0)):
            assert plan.bar[1] + 3 < y < plan.height - 11.9
    assert here == pytest.approx(length)
    by_page = {}
    for strip in plan.strips:
        by_page.setdefault(strip.page, []).append(strip.y)
    assert sorted(by_page) == list(range(1, plan.pages + 1))
    for ys in by_page.values():
        assert all(a - b > deep + 28 for a, b in zip(ys, ys[1:], strict=False))


def test_the_line_runs_straight_between_stations_and_on_round_a_closed_edge():
    points = (TrimPoint(10.0, "1", 1.0, 0.5), TrimPoint(60.0, "2", 3.0, 1.5))
    template = drawn.trim_template(points=points, length=100.0)
    # By hand: half way 2.0; from 60 to 110 it goes from 3 back to 1, at 100 it is 1.4.
    assert depths(template, "trim", 35.0, 100.0)[0] == (35.0, pytest.approx(2.0))
    assert depths(template, "trim", 35.0, 100.0)[-1] == (100.0, pytest.approx(1.4))
    assert depths(template, "trim", 0.0, 20.0)[0] == (0.0, pytest.approx(1.4))
    open_edge = drawn.trim_template(points=points, length=100.0, closed=False)
    assert depths(open_edge, "bite", 0.0, 100.0)[0] == (0.0, 0.5)
    assert depths(open_edge, "bite", 0.0, 100.0)[-1] == (100.0, 1.5)


def test_two_stations_at_a_corner_make_a_step():
    points = (
        TrimPoint(0.0, "1", 1.0, 1.0),
        TrimPoint(50.0, "2", 1.0, 1.0),
        TrimPoint(50.0, "3", 0.0, 0.0),
        TrimPoint(90.0, "4", 0.0, 0.0),
    )
    template = drawn.trim_template(points=points, length=90.0, closed=False)
    line = depths(template, "trim", 0.0, 90.0)
    assert (50.0, 1.0) in line and (50.0, 0.0) in line
    assert line[-1] == (90.0, 0.0)


def test_the_paper_says_what_it_is_for():
    data = trim_template.render(drawn.trim_template())
    reader = pypdf.PdfReader(io.BytesIO(data))
    first = reader.pages[0].extract_text()
    for said in (
        "material comes off", "part is on this side", "J-012", "DR-101-2 S/N 014",
        "100 mm: measure this bar before cutting", "sheet 1 of", "join 1",
        "Print at 100 %", "heavy line: present edge",
    ):  # fmt: skip
        assert said in first
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "shop.local"])
def test_no_code_leads_to_an_address_that_others_cannot_reach(host):
    drawing = drawn.trim_template(url=f"http://{host}/fit-checks/1/")
    first = pypdf.PdfReader(io.BytesIO(trim_template.render(drawing))).pages[0]
    assert ("No code: printed at" in first.extract_text()) == (host[0] == "1")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"points": ()}, "at least 2 stations"),
        ({"length": 0.0}, "a length"),
        (
            {"points": (TrimPoint(9, "1", 1, 1), TrimPoint(5, "2", 1, 1))},
            "in order along",
        ),
        (
            {"points": (TrimPoint(0, "1", 1, 1.1), TrimPoint(5, "2", 1, 1))},
            "station 1: the bite is more",
        ),
        (
            {"points": (TrimPoint(0, "1", 80, 1), TrimPoint(5, "2", 1, 1))},
            "80 mm is no trim",
        ),
    ],
)
def test_what_cannot_be_a_template_is_refused(changes, why):
    with pytest.raises(ValueError, match=why):
        trim_template.render(drawn.trim_template(**changes))


def test_no_template_at_all_is_refused():
    with pytest.raises(ValueError, match="nothing is to be cut"):
        trim_template.render([])


def round_hatch(count=16, *, clockwise=False, inside=True, **kinds):
    """Stations on a circle of 200 mm radius."""
    turns = [2 * math.pi * i / count for i in range(count)]
    if clockwise:
        turns.reverse()
    stations = [
        Station(
            str(i + 1),
            (200 * math.cos(t), 200 * math.sin(t), 0.0),
            gap=Limits(1.5, 2.5),
            gap_direction=tuple(
                (1 if inside else -1) * v for v in (math.cos(t), math.sin(t), 0.0)
            ),
            **kinds,
        )
        for i, t in enumerate(turns)
    ]
    return build_joint(stations, part_inside=inside)


@pytest.mark.parametrize(
    ("clockwise", "inside", "left"),
    [
        (False, True, True),
        (True, True, False),
        (False, False, False),
        (True, False, True),
    ],
)
def test_the_part_is_found_on_its_side_of_the_walk(clockwise, inside, left):
    """Counter-clockwise round a part inside, it is on the left hand: by hand."""
    joint = round_hatch(clockwise=clockwise, inside=inside)
    assert edge_templates.part_on_left(joint) is left


def test_on_an_open_seam_the_part_is_on_the_left():
    stations = [
        Station(str(i), (100.0 * i, 0.0, 0.0), gap=Limits(1, 2)) for i in range(4)
    ]
    assert edge_templates.part_on_left(build_joint(stations, closed=False))


def drawn_from_plan(joint, gaps):
    options = PlanOptions(max_move_mm=0.0, max_turn_deg=0.0)
    return edge_templates.templates(
        joint,
        plan_fit(joint, gaps, [None] * len(gaps), options),
        shop=drawn.SHOP,
        number="TT-1",
        joint_number="J-1",
        joint_name="Hatch",
        names={"part": "hatch", "surround": "frame"},
        issued_at=drawn.NOW,
    )


def test_a_plan_becomes_the_template_of_its_edge():
    """Gaps of 1.0 against 1.5 at least: half a millimeter off at five stations."""
    gaps = [1.0 if 3 <= i <= 7 else 2.0 for i in range(16)]
    (template,) = drawn_from_plan(round_hatch(), gaps)
    assert template.side == "part" and template.body_on_left
    assert [round(p.trim, 3) for p in template.points[2:9]] == [0, *[0.5] * 5, 0]
    assert [round(p.bite, 3) for p in template.points[3:5]] == [0.3, 0.3]
    # The arc between neighbors of 16 on a circle of 200 mm.
    assert template.points[1].s == pytest.approx(200 * math.pi / 8, abs=0.001)


def test_each_side_that_is_cut_has_its_own_template():
    gaps = [1.0] * 16
    (surround,) = drawn_from_plan(round_hatch(trim_side="surround"), gaps)
    assert surround.side == "surround" and not surround.body_on_left
    assert surround.part == "frame"
    assert drawn_from_plan(round_hatch(), [2.0] * 16) == ()


def test_a_station_that_was_not_measured_is_cut_between_its_neighbors_and_named():
    gaps = [1.0 if 3 <= i <= 7 else 2.0 for i in range(16)]
    gaps[5] = None
    (template,) = drawn_from_plan(round_hatch(), gaps)
    assert template.points[5].trim == pytest.approx(0.5, abs=1e-3)
    assert template.notes == ("Not measured, depth between neighbors: 6.",)


# The true shape, read back from the page


def heavy_lines(data: bytes) -> list[np.ndarray]:
    """Every line 0.9 pt wide, the present edge: points (n, 2) in mm, page by page."""
    found, wide, path = [], 0.0, []
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        content = pypdf.generic.ContentStream(page.get_contents(), page.pdf)
        for operands, operator in content.operations:
            if operator == b"w":
                wide = float(operands[0])
            elif operator == b"m":
                path = [[float(value) for value in operands]]
            elif operator == b"l":
                path.append([float(value) for value in operands])
            elif operator == b"S" and abs(wide - 0.9) < 1e-6:
                found.append(np.array(path) * 25.4 / 72)
    return found


def length_of(line: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def radius_of(line: np.ndarray) -> tuple[float, float]:
    """Radius of the circle through a line by least squares, and how far it is off."""
    system = np.column_stack([2 * line, np.ones(len(line))])
    x, y, rest = np.linalg.lstsq(system, (line**2).sum(axis=1), rcond=None)[0]
    radius = math.sqrt(rest + x * x + y * y)
    away = np.hypot(line[:, 0] - x, line[:, 1] - y) - radius
    return radius, float(np.abs(away).max())


def on_places(places, *, closed=True, normals=None):
    """A flat joint whose gaps want half a millimeter everywhere."""
    stations = [
        Station(
            str(row + 1),
            (float(x), float(y), 0.0),
            gap=Limits(1.5, 3.0),
            gap_direction=None if normals is None else (*normals[row], 0.0),
        )
        for row, (x, y) in enumerate(places)
    ]
    joint = build_joint(stations, closed=closed)
    (template,) = drawn_from_plan(joint, [1.0] * len(stations))
    return template


def drawn_lengths(template, paper="a4"):
    """Lengths of the edge as it is drawn, and of it once the strips are joined."""
    lines = heavy_lines(trim_template.render(template, paper))
    plan = arrange(template, paper)
    assert len(lines) == len(plan.strips)
    lengths = [length_of(line) for line in lines]
    overlaps = sum(
        max(0.0, before.end - after.start)
        for before, after in zip(plan.strips, plan.strips[1:], strict=False)
    )
    return lines, plan, lengths, sum(lengths) - overlaps


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_circle_of_300_mm_is_drawn_round_and_1885_mm_long(paper):
    """12 stations: chords would be 1,863 mm, the circle is 2 pi 300 = 1,884.96."""
    around = [2 * math.pi * k / 12 for k in range(12)]
    places = [(300 * math.cos(t), 300 * math.sin(t)) for t in around]
    normals = [(math.cos(t), math.sin(t)) for t in around]
    template = on_places(places, normals=normals)
    lines, _, _, whole = drawn_lengths(template, paper)
    assert whole == pytest.approx(2 * math.pi * 300, abs=0.1)
    for line in lines:
        radius, away = radius_of(line)
        assert radius == pytest.approx(300, abs=0.1)
        assert away < 0.01


def test_uneven_stations_without_normals_make_the_same_circle():
    turns = np.radians(np.cumsum([12, 16, 14, 18] * 6))
    places = [(300 * math.cos(t), 300 * math.sin(t)) for t in turns]
    lines, _, _, whole = drawn_lengths(on_places(places))
    assert whole == pytest.approx(2 * math.pi * 300, abs=0.2)
    assert all(radius_of(line)[1] < 0.05 for line in lines)


RECTANGLE = [
    *((0, 0), (200, 0), (400, 0), (400, 0), (400, 150), (400, 300)),
    *((400, 300), (200, 300), (0, 300), (0, 300), (0, 150), (0, 0)),
]
SIDE_OF = {"down": (0, -1), "right": (1, 0), "up": (0, 1), "left": (-1, 0)}


def test_a_corner_of_90_degrees_ends_its_strips():
    template = on_places(RECTANGLE)
    assert arrange(template).corners == pytest.approx((400, 700, 1100))
    lines, plan, _, whole = drawn_lengths(template)
    assert whole == pytest.approx(1400, abs=0.01)
    for line, strip in zip(lines, plan.strips, strict=True):
        assert np.ptp(line[:, 1]) < 0.01  # straight, and level
        inside = [s for s in plan.corners if strip.start + 1e-6 < s < strip.end - 1e-6]
        assert inside == []


def test_a_corner_without_a_station_is_not_cut_across_and_the_paper_says_so():
    """By hand: stations 50 mm from each corner; chords would lose 4 x 29.3 mm."""
    places = [(50, 0), (350, 0), (400, 50), (400, 250)]
    places += [(350, 300), (50, 300), (0, 250), (0, 50)]
    sides = ["down", "down", "right", "right", "up", "up", "left", "left"]
    template = on_places(places, normals=[SIDE_OF[side] for side in sides])
    assert drawn_lengths(template)[3] == pytest.approx(1400, abs=0.01)
    assert "A corner was drawn, no station is there: 2 and 3" in template.notes[0]


def test_a_corner_with_one_station_on_its_diagonal_is_a_corner():
    ring = [(0, 0), (200, 0), (400, 0), (400, 150)]
    ring += [(400, 300), (200, 300), (0, 300), (0, 150)]
    half = math.sqrt(0.5)
    normals = [(-half, -half), (0, -1), (half, -half), (1, 0)]
    normals += [(half, half), (0, 1), (-half, half), (-1, 0)]
    template = on_places(ring, normals=normals)
    assert drawn_lengths(template)[3] == pytest.approx(1400, abs=0.01)
    assert arrange(template).corners == pytest.approx((400, 700, 1100))


def test_an_edge_that_bows_29_mm_is_drawn_bowed_and_joins_up():
    """An arc over a chord of 1000 mm that rises 29: R = (500^2 + 29^2) / 58. Laid end
    to end by their marks the strips rise 29 mm again."""
    radius = (500**2 + 29**2) / 58
    half = math.asin(500 / radius)
    turns = [half * (k - 5) / 5 for k in range(11)]
    places = [(radius * math.sin(t), -radius * math.cos(t)) for t in turns]
    template = on_places(places, closed=False)
    lines, plan, _, whole = drawn_lengths(template)
    assert whole == pytest.approx(2 * half * radius, abs=0.05)
    assert len(lines) >= 4
    laid = np.array([(0.0, 0.0)])
    heading, begun = 0.0, 0.0
    for line, strip in zip(lines, plan.strips, strict=True):
        along = np.concatenate(
            [[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
        )
        joined = begun - strip.start
        first = [np.interp(joined, along, line[:, axis]) for axis in (0, 1)]
        piece = np.vstack([[first], line[along > joined + 1e-3]])
        begun = strip.end
        way = np.arctan2(*(piece[1] - piece[0])[::-1])
        turn = heading - way
        spin = np.array(
            [[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]
        )
        laid = np.vstack([laid, laid[-1] + (piece[1:] - piece[0]) @ spin.T])
        heading = np.arctan2(*(laid[-1] - laid[-2])[::-1])
    ends = laid[-1] - laid[0]
    chord = float(np.linalg.norm(ends))
    square = np.array([-ends[1], ends[0]]) / chord
    rise = np.abs((laid - laid[0]) @ square).max()
    assert chord == pytest.approx(1000, abs=0.2)
    assert rise == pytest.approx(29, abs=1.0)


def test_the_full_trim_keeps_its_depth_along_a_bent_edge():
    """The innermost line of a circle's template has the radius less the trim."""
    around = [2 * math.pi * k / 12 for k in range(12)]
    template = on_places(
        [(300 * math.cos(t), 300 * math.sin(t)) for t in around],
        normals=[(math.cos(t), math.sin(t)) for t in around],
    )
    plan = arrange(template)
    strip = plan.strips[0]
    edge = [strip.at(template.course, s) for s in (40.0, 120.0)]
    deep = [strip.at(template.course, s, 0.5) for s in (40.0, 120.0)]
    ways = [math.dist(a[:2], b[:2]) for a, b in zip(edge, deep, strict=True)]
    assert ways == pytest.approx([0.5, 0.5])
    apart = [math.dist(a[:2], b[:2]) for a, b in (edge, deep)]
    assert apart[1] / apart[0] == pytest.approx(299.5 / 300)


def test_a_long_edge_over_several_sheets_has_each_mark_on_both_strips():
    template = drawn.trim_template()
    data = trim_template.render(template)
    plan = arrange(template)
    assert plan.pages >= 2
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    words = " ".join(page.extract_text() for page in pages)
    for number in range(1, len(plan.joints) + 1):
        assert len(re.findall(rf"join {number}(?!\d)", words)) == 2


def test_paper_round_a_cylinder_is_unrolled():
    """A seam round a cylinder of 300 mm, from 0 to 120 degrees: 628.3 mm and straight;
    its chords are 625.1."""
    turns = [math.radians(20 * k) for k in range(7)]
    stations = [
        Station(
            str(k),
            (300 * math.cos(t), 300 * math.sin(t), 0.0),
            gap_direction=(0.0, 0.0, -1.0),
            face=(math.cos(t), math.sin(t), 0.0),
            gap=Limits(1.5, 3.0),
        )
        for k, t in enumerate(turns)
    ]
    curve = edge_curve(build_joint(stations, closed=False))
    assert curve.length == pytest.approx(300 * math.radians(120), abs=1e-6)
    assert all(bend.curvature == pytest.approx(0, abs=1e-9) for bend in curve.bends)


# Templates that hands can use: tags, only what is cut, lines that stand clear


TAGGED = tuple(
    TrimPoint(60.0 * k, str(k + 1), trim, bite)
    for k, (trim, bite) in enumerate(
        [
            *((0, 0), (0.4, 0.4), (0.62, 0.37), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0)),
            *((0, 0), (1.2, 1.2), (3.4, 2.04), (2.5, 1.6), (0.3, 0.3), (0, 0), (0, 0)),
            *((0, 0), (0, 0)),
        ]
    )
)


def tagged(**more):
    return drawn.trim_template(
        points=TAGGED, length=960.0, closed=False, line_from=1.0, **more
    )


def strokes(data: bytes) -> list[list[tuple[float, np.ndarray]]]:
    """(width, points (n, 2) in mm) of every line, page by page, clipped ones left out:
    hatching lies inside of the lines around it."""
    pages = []
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        content = pypdf.generic.ContentStream(page.get_contents(), page.pdf)
        found, wide, path = [], 0.0, []
        for operands, operator in content.operations:
            if operator == b"w":
                wide = float(operands[0])
            elif operator == b"m":
                path = [[float(value) for value in operands]]
            elif operator == b"l":
                path.append([float(value) for value in operands])
            elif operator == b"S":
                found.append((wide, np.array(path) * 25.4 / 72))
        pages.append(found)
    return pages


def words_at(data: bytes) -> list[tuple[int, str, float, float, float]]:
    """(page, text, left, right, base) in mm of every run of text, by PDFium."""
    found = []
    for number, page in enumerate(pypdfium2.PdfDocument(data)):
        text = page.get_textpage()
        for index in range(text.count_rects()):
            left, bottom, right, top = text.get_rect(index)
            said = text.get_text_bounded(left, bottom, right, top).strip()
            box = (left * 25.4 / 72, right * 25.4 / 72, bottom * 25.4 / 72)
            found.append((number, said, *box))
    return found


@pytest.mark.parametrize("left", [True, False])
@pytest.mark.parametrize("limit", [0.5, 1.0, 1.5])
def test_no_line_stands_closer_to_another_than_the_limit_of_the_shop(left, limit):
    template = drawn.trim_template(
        points=TAGGED, length=960.0, closed=False, body_on_left=left, line_from=limit
    )
    seen = 0
    for page in strokes(trim_template.render(template)):
        lines = [path for wide, path in page if wide in (0.5, 0.9)]
        # Lines along the edge: long, and nearly level (the edge is straight).
        along = [
            path
            for path in lines
            if np.ptp(path[:, 0]) > 10 and np.ptp(path[:, 1]) < 5 and len(path) < 40
            and path[:, 1].min() > 45
        ]  # fmt: skip
        for k, one in enumerate(along):
            for other in along[k + 1 :]:
                low = max(one[:, 0].min(), other[:, 0].min())
                high = min(one[:, 0].max(), other[:, 0].max())
                if high - low < 1:
                    continue
                at = np.linspace(low, high, 200)
                apart = np.abs(np.interp(at, *one.T) - np.interp(at, *other.T)).min()
                assert apart > limit - 0.01
                seen += apart < 5
    assert seen  # at the deep stretch there are lines


def test_below_the_limit_tags_stand_at_their_stations():
    """True place: the middle of a tag is where its station is on the strip."""
    template = tagged()
    plan, data = arrange(template), trim_template.render(template)
    said = words_at(data)
    for label, words in (
        ("2", "2: take 0.4"), ("3", "3: take 0.37 of 0.62"), ("10", "10: take 1.2"),
        ("11", "11: take 2.04 of 3.4"), ("13", "13: take 0.3"), ("4", "4: none"),
    ):  # fmt: skip
        s = 60.0 * (int(label) - 1)
        strips = [strip for strip in plan.strips if strip.start <= s <= strip.end]
        assert strips
        found = [one for one in said if one[1] == words]
        assert len(found) == len(strips)
        for strip in strips:
            if min(s - strip.start, strip.end - s) < 20:
                continue  # beside an end the tag is moved in
            wanted = strip.x + s - strip.start
            mine = [one for one in found if one[0] == strip.page - 1]
            assert any(
                abs((one[2] + one[3]) / 2 - wanted) < 0.5 and abs(one[4] - strip.y) < 12
                for one in mine
            )


def test_a_tag_never_says_more_than_the_bite():
    points = tuple(TrimPoint(100.0 * k, str(k), 0.629, 0.3799) for k in range(3))
    template = drawn.trim_template(points=points, length=200.0, closed=False)
    words = [one[1] for one in words_at(trim_template.render(template))]
    assert "1: take 0.37 of 0.62" in words


def test_in_inches_tags_say_thousandths_and_the_foot_says_how_to_use_them():
    points = tuple(TrimPoint(100.0 * k, str(k), 0.6, 0.4) for k in range(3))
    template = drawn.trim_template(
        points=points, length=200.0, closed=False, line_from=1.0, unit="in"
    )
    page = pypdf.PdfReader(io.BytesIO(trim_template.render(template))).pages[0]
    words = page.extract_text()
    # 0.4 mm are 0.01575 in, 0.6 are 0.0236.
    assert "1: take 0.015 of 0.023" in words and "0.0 to 7.9 in" in words
    assert "Tags: inches to take now" in words and "4 in: measure this one too" in words
    assert "mark on it what the tags say" in words and "Dashed" not in words
    deep = trim_template.render(drawn.trim_template(line_from=1.0))
    assert "Dashed" in pypdf.PdfReader(io.BytesIO(deep)).pages[0].extract_text()


def test_only_the_stretches_that_are_cut_are_drawn():
    """Cut from station 1 to 4 and from 9 to 14, 60 mm apart; 20 mm on either side."""
    template = tagged()
    plan = arrange(template)
    covered = [(round(one.start, 6), round(one.end, 6)) for one in plan.strips]
    assert covered[0] == (0, 200)
    assert (covered[1][0], covered[-1][1]) == (460, 800)
    lines, _, lengths, whole = drawn_lengths(template)
    assert whole == pytest.approx(200 + 340, abs=0.01)
    tags = [
        re.match(r"(\d+): ", one[1]) for one in words_at(trim_template.render(template))
    ]
    told = {int(tag[1]) for tag in tags if tag}
    assert told == {1, 2, 3, 4, *range(9, 15)}


def test_no_cut_has_the_line_of_a_full_trim_alone():
    """Where the bite is below the limit and the full trim above, a line at the full
    trim would be cut to."""
    points = tuple(TrimPoint(100.0 * k, str(k + 1), 2.4, 0.6) for k in range(5))
    template = drawn.trim_template(
        points=points, length=400.0, closed=False, line_from=1.0
    )
    for page in strokes(trim_template.render(template)):
        dashed_or_solid = [
            path for wide, path in page
            if wide == 0.5 and np.ptp(path[:, 0]) > 101 and path[:, 1].min() > 45
        ]  # fmt: skip
        assert dashed_or_solid == []


def test_tags_that_would_run_into_each_other_stand_in_rows():
    points = tuple(TrimPoint(14.0 * k, f"B{k}", 0.5, 0.3) for k in range(9))
    template = drawn.trim_template(
        points=points, length=112.0, closed=False, line_from=1.0
    )
    tags = [one for one in words_at(trim_template.render(template)) if "take" in one[1]]
    tags = [one for one in tags if re.match(r"B\d: take 0.3 of 0.5$", one[1])]
    assert len(tags) == 9
    for k, one in enumerate(tags):
        for other in tags[k + 1 :]:
            beside = one[3] < other[2] or other[3] < one[2]
            assert beside or abs(one[4] - other[4]) > 2.0


def test_the_command_line_takes_the_limit(tmp_path):
    (tmp_path / "joint.csv").write_text(
        "station,x_mm,y_mm,gap_min_mm,gap_max_mm\n"
        + "".join(f"{k},{100 * k},0,1.5,2.5\n" for k in range(6))
    )
    (tmp_path / "readings.csv").write_text(
        "station,gap_mm,flush_mm\n"
        + "".join(f"{k},{0.2 if k in (2, 3) else 2},\n" for k in range(6))
    )
    files = [str(tmp_path / name) for name in ("joint.csv", "readings.csv")]
    counts = []
    for limit in ("0", "5"):
        target = tmp_path / f"{limit}.pdf"
        with contextlib.suppress(SystemExit):
            call_command(
                "plan_fit", *files, "--open", "--max-move-mm", "0", "--max-turn-deg",
                "0", "--template", str(target), "--template-line-mm", limit,
            )  # fmt: skip
        counts.append(
            sum(
                wide == 0.5 and np.ptp(path[:, 0]) > 101
                for page in strokes(target.read_bytes())
                for wide, path in page
            )
        )
    assert counts[0] > counts[1] == 0


def test_a_template_kept_before_edges_had_a_shape_is_a_straight_strip():
    template = drawn.trim_template(length=400.0)
    assert template.bends == ()
    for line in heavy_lines(trim_template.render(template)):
        assert np.ptp(line[:, 1]) == pytest.approx(0, abs=1e-3)
