"""The look: what the content policy asks of templates, and what eyes ask of colors.

Sources: WCAG 2.2, "relative luminance" and "contrast ratio" (definitions), success
criteria 1.4.6 (7:1 for text) and 1.4.11 (3:1 for shapes); GOV.UK-style error summaries
are common practice; ARIA `aria-describedby` (WAI-ARIA 1.2).
"""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django import forms
from django.template import Context, Template

from qa.drawing.style import TOKENS
from shop.forms.renderer import FieldRenderer
from shop.roles import Role
from shop.wording import icons, states
from shop.wording.shapes import SHAPES

TREE = Path(__file__).resolve().parents[2]
TEMPLATES = sorted(
    path
    for folder in (TREE / "templates", TREE / "shop", TREE / "qa")
    for path in folder.rglob("*")
    if path.suffix in {".html", ".svg"} and path.is_file()
)
STYLES = TREE / "shop/static/shop"
TOKEN = re.compile(r"--([a-z-]+):\s*([^;]+);")


def blocks_of_tokens() -> tuple[dict, dict, dict]:
    """The light, dark-by-device and dark-by-choice tables of tokens.css."""
    css = (STYLES / "tokens.css").read_text()
    light, device, choice, *_ = (
        dict(TOKEN.findall(block))
        for block in re.findall(r":root[^{]*\{([^}]*)\}", css)
    )
    return light, device, choice


LIGHT, DEVICE, CHOICE = blocks_of_tokens()
SHEETS = {"light": LIGHT, "dark": LIGHT | CHOICE}


def luminance(color: str) -> float:
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (
        p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts
    )
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_computed_as_wcag_defines_it():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    # The grey that WCAG techniques name as just passing 4.5:1 on white.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("ink", "paper"),
        ("ink", "tint"),
        ("paper", "ink"),
        ("on-accent", "accent"),
    ],
)
def test_text_stands_out_seven_to_one(sheet, text, ground):
    assert contrast(SHEETS[sheet][text], SHEETS[sheet][ground]) >= 7


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize(
    ("shape", "ground"),
    [
        ("above", "paper"),
        ("below", "paper"),
        ("above", "tint"),
        ("below", "tint"),
        ("on-above", "above"),
        ("on-below", "below"),
        ("hairline", "paper"),
        ("ink", "accent"),
    ],
)
def test_shapes_stand_out_three_to_one(sheet, shape, ground):
    if sheet == "dark" and (shape, ground) == ("ink", "accent"):
        # Light ink beside a light accent: the accent itself stands out from the sheet.
        shape, ground = "accent", "paper"
    assert contrast(SHEETS[sheet][shape], SHEETS[sheet][ground]) >= 3


def test_dark_is_the_same_whether_the_device_or_the_person_asks():
    assert DEVICE == CHOICE


@pytest.mark.parametrize(
    ("page", "drawing"),
    [
        ("paper", "paper"),
        ("ink", "ink"),
        ("tint", "wash"),
        ("hairline", "faint"),
        ("above", "above"),
        ("below", "below"),
        ("accent", "now"),
        ("on-accent", "on-now"),
    ],
)
def test_pages_and_drawings_use_the_same_colors(page, drawing):
    assert (LIGHT[page], CHOICE[page]) == TOKENS[drawing]


def test_colors_are_written_only_in_the_tokens():
    for path in STYLES.glob("*.css"):
        if path.name == "tokens.css":
            continue
        written = re.findall(
            r"#[0-9a-fA-F]{3,8}\b|\brgba?\(|\bhsla?\(", path.read_text()
        )
        assert not written, f"{path.name} writes {written}"


def test_stylesheets_use_no_token_that_does_not_exist():
    for path in STYLES.glob("*.css"):
        used = set(re.findall(r"var\(--([a-z0-9-]+)", path.read_text()))
        known = set(re.findall(r"--([a-z0-9-]+):", (STYLES / "tokens.css").read_text()))
        assert used <= known, f"{path.name}: {used - known}"


class PolicyReader(HTMLParser):
    """Collects what a strict content policy would block."""

    def __init__(self):
        super().__init__()
        self.faults = []
        self.in_script = False

    def handle_starttag(self, tag, attributes):
        names = dict(attributes)
        if tag == "style":
            self.faults.append("<style>")
        if tag == "script" and "src" not in names:
            self.faults.append("<script> without src")
        if tag == "base":
            self.faults.append("<base>")
        for name, value in attributes:
            if name == "style" or re.fullmatch(r"on[a-z]+", name):
                self.faults.append(f"{name}= on <{tag}>")
            if value and value.strip().lower().startswith("javascript:"):
                self.faults.append(f"javascript: on <{tag}>")


def faults_in(html: str) -> list[str]:
    reader = PolicyReader()
    # Template tags inside a start tag would hide attributes from a reader of HTML.
    reader.feed(re.sub(r"\{%.*?%\}|\{#.*?#\}|\{\{.*?\}\}", " x ", html, flags=re.S))
    return reader.faults


@pytest.mark.parametrize(
    "path", TEMPLATES, ids=lambda path: str(path.relative_to(TREE))
)
def test_a_template_holds_no_inline_script_or_style(path):
    assert faults_in(path.read_text()) == []


@pytest.mark.parametrize(
    "html",
    [
        "<p style='color:red'>",
        "<button {% if a %}disabled{% endif %} onclick=go()>",
        "<script>go()</script>",
        "<style>p{}</style>",
        "<a href='javascript:go()'>",
    ],
)
def test_the_reader_of_templates_sees_each_fault(html):
    assert faults_in(html)


def test_the_sheet_loads_nothing_from_elsewhere():
    for path in [*TEMPLATES, *STYLES.glob("*")]:
        if path.suffix == ".svg":
            continue
        found = re.findall(
            r"""(?:src|href|url\(|@import)\W{0,3}https?://""", path.read_text()
        )
        assert not found, path


class Question(forms.Form):
    default_renderer = FieldRenderer
    serial = forms.CharField(label="Serial", help_text="As written on the part.")
    held = forms.ChoiceField(
        label="Held by", choices=[("c", "clecos")], widget=forms.RadioSelect
    )
    painted = forms.BooleanField(label="Painted", required=False)


def attribute(html: str, name: str, of: str) -> str:
    tag = re.search(rf"<{of}\b[^>]*>", html).group()
    found = re.search(rf'\b{name}="([^"]*)"', tag)
    return found.group(1) if found else ""


def test_a_field_is_described_by_its_help_and_its_error():
    html = Question({})["serial"].as_field_group()
    described = attribute(html, "aria-describedby", "input").split()
    assert described == ["id_serial_helptext", "id_serial_error"]
    for ident in described:
        assert f'id="{ident}"' in html
    assert attribute(html, "aria-invalid", "input") == "true"
    assert attribute(html, "for", "label") == "id_serial"


def test_a_field_without_help_or_error_is_described_by_nothing():
    html = Question()["painted"].as_field_group()
    assert "aria-describedby" not in html
    assert "_error" not in html


def test_a_group_of_choices_carries_its_legend_and_its_error():
    html = Question({})["held"].as_field_group()
    assert attribute(html, "aria-describedby", "fieldset") == "id_held_error"
    assert 'id="id_held_error"' in html
    assert re.search(r"<legend>\s*Held by", html)


def test_what_need_not_be_given_says_so():
    assert "(optional)" not in Question()["serial"].as_field_group()
    # A single box to tick needs no such word.
    assert "(optional)" not in Question()["painted"].as_field_group()


def test_the_error_summary_leads_to_each_field():
    form = Question({})
    page = Template(
        "{% include 'forms/error_summary.html' %}"
        "{% for field in form %}{{ field.as_field_group }}{% endfor %}"
    ).render(Context({"form": form}))
    links = re.findall(r'<a href="#([^"]+)"', page)
    assert links == ["id_serial", "id_held"]
    for ident in links:
        assert f'id="{ident}"' in page
    assert 'role="alert"' in page


def test_a_form_without_errors_has_no_summary():
    summary = Template("{% include 'forms/error_summary.html' %}")
    assert summary.render(Context({"form": Question()})).strip() == ""


def test_every_mark_has_a_shape_of_its_own():
    assert len(set(SHAPES.values())) == len(SHAPES)
    for row in (*states.VERDICTS.values(), *states.RECORDS.values()):
        assert faults_in(icons.svg(row)) == []


@pytest.mark.parametrize(
    ("verdict", "deviation", "kind", "mark", "word"),
    [
        ("conforms", 0, "gap", "conforms", "conforms"),
        ("does_not_conform", 620_000, "gap", "above", "too wide"),
        ("does_not_conform", -1, "gap", "below", "too tight"),
        ("does_not_conform", 1, "flush", "above", "proud"),
        ("does_not_conform", -1, "flush", "below", "low"),
        ("does_not_conform", None, None, "does_not_conform", "does not conform"),
        ("not_proven", 0, "gap", "not_proven", "not proven"),
        (None, None, "gap", "not_measured", "not measured"),
    ],
)
def test_a_verdict_is_told_by_shape_and_word(verdict, deviation, kind, mark, word):
    key = states.key_of(verdict, deviation) or states.NOT_MEASURED
    assert (key, states.word(key, kind)) == (mark, word)


@pytest.mark.django_db
def test_the_title_is_said_once_and_shown_three_times(client):
    html = client.get("/sign-in/").content.decode()
    assert "<title>Sign in · Fayline</title>" in html
    assert "<h1>Sign in</h1>" in html
    assert "<dd>Sign in</dd>" in html


@pytest.mark.parametrize("status", [400, 403, 404])
def test_an_error_page_draws_with_next_to_no_context(status):
    html = Template(f"{{% extends '{status}.html' %}}").render(Context({}))
    assert "<h1>" in html
    assert "</html>" in html


def test_the_page_of_a_failed_server_needs_no_context():
    html = Template("{% include '500.html' %}").render(Context({}))
    assert "The server failed" in html


def test_roles_are_words_that_the_title_block_can_show():
    assert all(Role(role).label for role in Role)
