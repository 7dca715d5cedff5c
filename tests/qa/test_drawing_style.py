"""The one table of looks: its stylesheet, and contrast as WCAG 2.2 defines it
(definitions of relative luminance and contrast ratio; criteria 1.4.6 and 1.4.11)."""

import re
from pathlib import Path

import pytest
from django.core.management import call_command

from qa.drawing import style
from shop.wording.states import VERDICTS

TREE = Path(__file__).resolve().parents[2]
FILE = TREE / "qa/static/qa/drawing.css"


def luminance(color: str) -> float:
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [
        p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts
    ]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_stylesheet_in_the_tree_is_the_one_the_table_gives():
    assert FILE.read_text(encoding="utf-8") == style.css()


def test_the_command_writes_the_stylesheet(capsys):
    before = FILE.read_bytes()
    call_command("drawing_css")
    assert FILE.read_bytes() == before
    assert "drawing.css" in capsys.readouterr().out


@pytest.mark.parametrize("sheet", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), style.TEXT_ON)
def test_words_stand_out_seven_to_one_or_on_states_nearly_so(text, ground, sheet):
    ratio = contrast(style.TOKENS[text][sheet], style.TOKENS[ground][sheet])
    # White numbers on the red triangle are large and bold: 4.5 is asked (1.4.6).
    assert ratio >= (4.5 if text in ("on-above", "on-below") else 7.0)


@pytest.mark.parametrize("sheet", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("shape", "ground"), style.SHAPE_ON)
def test_shapes_stand_out_three_to_one(shape, ground, sheet):
    assert contrast(style.TOKENS[shape][sheet], style.TOKENS[ground][sheet]) >= 3.0


def test_every_look_refers_to_colors_that_there_are():
    for look in style.STYLE.values():
        for token in (look.fill, look.stroke):
            assert token is None or token == "none" or token in style.TOKENS


def test_every_state_has_a_look():
    assert {state for state in VERDICTS if state} <= set(style.STYLE)


def test_states_are_not_told_by_traffic_light_colors():
    assert not re.search(r"#0[0-9a-f]?[89a-f]0|green|amber", style.css())
    for state in ("conforms", "not_proven", "not_measured", "stale", "skipped"):
        assert style.STYLE[state].fill == "paper"
