"""The map of a joint: nothing on top of anything, links that say what they are.

Sources: WCAG 2.2 success criteria 2.5.3 (label in name), 2.5.8 (target size) and 1.1.1;
SVG 2 for the elements. That a value which cannot stand freely is left to the table is
our own rule.
"""

import itertools
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from qa.drawing import joint_map, map_values, svg, symbols
from qa.drawing.joint_map import JointMap, Layout, MapStation
from shop.wording.states import VERDICTS, key_of
from tests.qa import drawn

SVG = "{http://www.w3.org/2000/svg}"
SHAPES = {
    "door": {},
    "wide hatch": {"width": 1500.0, "height": 700.0},
    "round hatch": {"width": 800.0, "height": 800.0, "radius": 399.0},
}


def laid_out(count: int, shape: str, **layout):
    """The joint, what was placed where, and its layout."""
    joint = drawn.joint_map(count, **SHAPES[shape])
    chosen = Layout(values="all", **layout)
    placed = joint_map.ground(joint, chosen)
    map_values.values(joint, chosen, placed)
    return joint, placed


def parsed(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314 -- our own drawing


def overlap(a, b) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("count", [24, 40, 60])
def test_no_value_lies_on_another_value_a_symbol_or_the_seam(count, shape):
    joint, placed = laid_out(count, shape)
    boxes = placed.boxes
    assert not [pair for pair in itertools.combinations(boxes, 2) if overlap(*pair)]
    for symbol in map_values.symbol_boxes(joint, placed):
        assert not [box for box in boxes if overlap(box, symbol)]
    x, y = placed.seam.T
    for left, top, right, bottom in boxes:
        assert not ((x > left) & (x < right) & (y > top) & (y < bottom)).any()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(("count", "least"), [(24, 24), (40, 38), (60, 50)])
def test_nearly_every_value_finds_its_place(count, least, shape):
    _, placed = laid_out(count, shape)
    assert len(placed.boxes) >= least


def test_values_stay_on_the_drawing():
    joint, placed = laid_out(60, "wide hatch")
    for left, top, right, bottom in placed.boxes:
        assert left > 0 and right < placed.frame.width
        assert top > 0 and bottom < placed.frame.height


def test_beyond_32_stations_only_what_matters_keeps_its_value():
    joint = drawn.joint_map(40)
    placed = joint_map.ground(joint, Layout())
    map_values.values(joint, Layout(), placed)
    wanted = [s for s in joint.stations if s.state not in ("conforms", "not_measured")]
    assert 0 < len(placed.boxes) <= len(wanted) + 1 < 40


@pytest.mark.parametrize("count", [3, 24, 40, 60, 120, 500])
def test_symbols_do_not_lie_on_each_other(count):
    joint = drawn.joint_map(count)
    placed = joint_map.ground(joint, Layout())
    apart = np.hypot(*(placed.centers[:, None] - placed.centers).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    assert apart.min() >= 2 * placed.radius


def test_two_stations_of_one_corner_stand_side_by_side():
    corner = [(0.0, 0.0), (800.0, 0.0), (800.0, 0.0), (800.0, 500.0), (0.0, 500.0)]
    turned = [(0, -1), (0, -1), (1, 0), (1, 0), (-1, 0)]
    stations = tuple(
        MapStation(str(i), x, y, nx, ny)
        for i, ((x, y), (nx, ny)) in enumerate(zip(corner, turned, strict=True))
    )
    placed = joint_map.ground(JointMap("corner", stations), Layout())
    first, second = placed.centers[1], placed.centers[2]
    assert np.hypot(*(second - first)) >= 2 * placed.radius
    assert second[0] > first[0]  # the one whose gap opens to the right goes right


def test_the_worse_of_two_results_stands_for_the_station():
    def state(gap, flush):
        return MapStation("1", 0, 0, gap_state=gap, flush_state=flush).state

    assert state("conforms", "above") == "above"
    assert state("not_proven", "conforms") == "not_proven"
    assert state("conforms", "not_measured") == "not_measured"
    assert state("", "conforms") == "conforms"
    assert state("stale", "not_proven") == "not_proven"


def test_every_state_has_a_shape_of_its_own():
    shapes = {
        state: repr(symbols.shape(state, 0, 0, 10)) for state in VERDICTS if state
    }
    assert len(set(shapes.values())) == len(shapes)


def test_a_failing_verdict_is_drawn_by_the_sign_of_its_deviation():
    assert key_of("does_not_conform", 0.1) == "above"
    assert key_of("does_not_conform", -0.1) == "below"
    assert key_of("not_proven", 0) == "not_proven"
    assert key_of(None) == ""


def rendered(**changes) -> str:
    return svg.render(joint_map.build(drawn.joint_map(**changes)), prefix="a")


def test_the_drawing_carries_no_inline_style_and_no_script():
    text = rendered()
    assert "style=" not in text
    assert "<script" not in text and "<style" not in text
    assert not re.search(r"\son\w+=", text)


def test_two_drawings_on_one_page_share_no_id():
    joint = joint_map.build(drawn.joint_map())
    ids = [
        element.get("id")
        for prefix in ("first", "second")
        for element in parsed(svg.render(joint, prefix=prefix)).iter()
        if element.get("id")
    ]
    assert len(ids) == len(set(ids)) == 2 * 25  # 24 links and the title


def test_each_link_names_its_station_values_and_verdicts():
    root = parsed(rendered())
    links = {a.get("href"): a for a in root.iter(f"{SVG}a")}
    assert len(links) == 24
    third = links["?station=3"]
    assert (
        third.get("aria-label") == "Station 3: gap 2.26 below, flushness −0.24 conforms"
    )
    active = [a for a in links.values() if a.get("aria-current")]
    assert [a.get("href") for a in active] == ["?station=5"]
    for link in links.values():
        visible = [t.text for t in link.iter(f"{SVG}text")]
        assert all(text in link.get("aria-label") for text in visible)


def test_values_are_for_eyes_only_since_the_links_say_them():
    root = parsed(rendered())
    hidden = [g for g in root.iter(f"{SVG}g") if g.get("aria-hidden") == "true"]
    words = {t.text for group in hidden for t in group.iter(f"{SVG}text")}
    assert "2.39" in words and "gap 1.50 to 2.50 mm" in words


def test_a_drawing_without_links_is_one_image_with_a_title():
    root = parsed(rendered(url=""))
    assert root.get("role") == "img"
    title = root.find(f"{SVG}title")
    assert root.get("aria-labelledby") == title.get("id")
    assert title.text.startswith("Map of Door R1 to fuselage: 24 stations")


def test_links_of_neighbors_do_not_overlap():
    root = parsed(rendered(count=60))
    hits = [
        (float(c.get("cx")), float(c.get("cy")), float(c.get("r")))
        for c in root.iter(f"{SVG}circle")
        if c.get("class") == "dw-hit"
    ]
    assert len(hits) == 60
    for (x1, y1, r1), (x2, y2, r2) in itertools.combinations(hits, 2):
        assert np.hypot(x1 - x2, y1 - y2) >= r1 + r2 - 0.05
    assert all(r <= 30 for _, _, r in hits)


def test_what_a_person_typed_stays_text():
    nasty = MapStation('1"><script>', 0, 0, url='?s="&<')
    others = [MapStation(str(i), 100.0 * i, 50.0 * i * i) for i in (2, 3)]
    joint = JointMap("<b>Door</b> & 'frame'", (nasty, *others))
    root = parsed(svg.render(joint_map.build(joint)))
    assert root.find(f"{SVG}title").text.startswith("Map of <b>Door</b> & 'frame'")
    assert next(root.iter(f"{SVG}a")).get("href") == '?s="&<'


def test_a_map_of_nothing_is_refused():
    with pytest.raises(ValueError, match="needs stations"):
        joint_map.build(JointMap("empty", ()))


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_stations_are_drawn_all_the_same(count):
    stations = tuple(MapStation(str(i), 10.0 * i, 0.0) for i in range(count))
    scene = joint_map.build(JointMap("stub", stations, closed=False))
    assert scene.width > 0 and scene.height > 0


def test_the_part_is_hatched_on_the_side_that_the_gaps_point_away_from():
    """A square walked either way: strokes inside for a part inside, else outside."""
    square = [(0.0, 0.0), (600.0, 0.0), (600.0, 600.0), (0.0, 600.0)]
    for places in (square, square[::-1]):
        for inside in (True, False):
            stations = tuple(
                MapStation(str(i), x, y) for i, (x, y) in enumerate(places)
            )
            joint = JointMap("square", stations, part_inside=inside)
            placed = joint_map.ground(joint, Layout())
            middle = placed.seam.mean(axis=0)
            steps = placed.hatch[0].steps
            starts = np.array([s[1:] for s in steps[0::2]])
            tips = np.array([s[1:] for s in steps[1::2]])
            inward = np.abs(tips - middle).max(axis=1) < np.abs(starts - middle).max(
                axis=1
            )
            assert inward.mean() > 0.9 if inside else inward.mean() < 0.1


def test_where_symbols_are_too_small_for_numbers_the_values_carry_them():
    """500 stations: no number in the symbols, but one with each value."""
    root = parsed(rendered(count=500, url=""))
    words = [t.text for t in root.iter(f"{SVG}text")]
    assert "5" not in words and "no. 5" in words
