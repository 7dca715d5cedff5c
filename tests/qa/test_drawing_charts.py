"""Control charts and trends as drawings, and the tables that say the same."""

import re
from decimal import Decimal

import pytest

from qa.drawing import control_chart, svg, trend_chart
from qa.drawing.control_chart import ChartSheet, Note
from qa.drawing.scene import Disc, Text
from qa.drawing.style import STYLE
from qa.drawing.trend_chart import TrendSheet
from qa.numeric.measuring.charts import chart
from qa.numeric.measuring.trend import trend
from qa.wording.measuring import remark

VALUES = [Decimal(one) / 100 for one in (150, 152, 149, 151, 148, 150, 153, 149, 175)]


def sheet_of(values=VALUES, subgroups=None, **more):
    found = chart(values, subgroups)
    labels = tuple(dict.fromkeys(subgroups)) if subgroups else None
    labels = labels or tuple(str(k) for k in range(1, len(values) + 1))
    return ChartSheet("gap at station 4", "mm", found, labels, **more)


def trend_sheet():
    pulls = range(1, 13)
    points = [
        (k, round(0.3 + 0.02 * k - 0.2 * (k > 6) + k % 2 / 100, 2)) for k in pulls
    ]
    found = trend([p for p, _ in points], [v for _, v in points], 0.6, breaks=[7])
    words = remark(found.course)
    return TrendSheet("gap at 4", "mm", 0.6, tuple(points), found, words, (7.0,))


SUBGROUPS = [*"aabbbccddd"]
SHEETS = {
    "individuals": lambda: (control_chart, sheet_of(notes=(Note(5, "new mold"),))),
    "unequal subgroups": lambda: (
        control_chart,
        sheet_of([1, 2, 1, 3, 2, 2, 3, 1, 2, 3], SUBGROUPS),
    ),
    "trend": lambda: (trend_chart, trend_sheet()),
}


def shapes_within(scene):
    for shape in scene.shapes:
        if isinstance(shape, Text | Disc):
            yield shape.x, shape.y
        else:
            for step in shape.steps:
                yield from zip(step[1::2], step[2::2], strict=True)


@pytest.mark.parametrize("name", SHEETS)
def test_every_shape_lies_in_the_drawing_and_has_a_look(name):
    module, sheet = SHEETS[name]()
    scene = module.build(sheet)
    for x, y in shapes_within(scene):
        assert 0 <= x <= scene.width
        assert 0 <= y <= scene.height
    assert {shape.look for shape in scene.shapes} <= set(STYLE)
    assert "nan" not in svg.render(scene)


@pytest.mark.parametrize("name", SHEETS)
def test_the_table_has_a_row_for_every_point_and_a_cell_for_every_heading(name):
    module, sheet = SHEETS[name]()
    head, rows = module.table(sheet)
    labels = getattr(sheet, "labels", None)
    points = sheet.trend.prediction if labels is None else labels
    assert len(rows) == len(points)
    assert {len(row) for row in rows} == {len(head)}


def test_a_point_where_a_rule_spoke_is_marked_numbered_and_told_in_the_table():
    sheet = sheet_of(notes=(Note(9, "new gelcoat"),))
    scene = control_chart.build(sheet)
    marked = [shape for shape in scene.shapes if getattr(shape, "look", "") == "now"]
    assert len(marked) == 2  # the value and its moving range
    words = [shape.words for shape in scene.shapes if isinstance(shape, Text)]
    assert "1: 1 point beyond 3 sd" in words
    assert "new gelcoat" in words
    assert "rules spoke at 1" in scene.title
    _, rows = control_chart.table(sheet)
    assert "1 point beyond 3 sd" in rows[-1][-1]
    assert "before it: new gelcoat" in rows[-1][-1]
    assert rows[0][-1] == ""
    assert rows[0][4] == ""  # the first value has no range before it


def test_a_trend_says_when_it_reaches_the_limit_and_shows_its_repair():
    sheet = trend_sheet()
    scene = trend_chart.build(sheet)
    words = " ".join(s.words for s in scene.shapes if isinstance(s, Text))
    assert re.search(
        r"Expected to reach the limit at pull 2\d\.\d \(.+\), beyond", words
    )
    assert "repair" in words
    bands = [shape for shape in scene.shapes if getattr(shape, "look", "") == "band"]
    assert len(bands) == 2
    _, rows = trend_chart.table(sheet)
    assert [row[0] for row in rows if row[-1]] == ["7"]
