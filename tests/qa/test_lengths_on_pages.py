"""Lengths as pages show them. 1 in = 25.4 mm exactly (NIST SP 811, appendix B)."""

from types import SimpleNamespace

import pytest
from django.template import Context, Template

from qa.wording import characteristics, findings, lengths


def shown(tag: str, nm, units="mm") -> str:
    request = SimpleNamespace(user=SimpleNamespace(units=units))
    page = Template("{% load lengths %}" + tag)
    return page.render(Context({"request": request, "nm": nm}))


@pytest.mark.parametrize(
    ("tag", "nm", "units", "text"),
    [
        ("{% length nm bare=True %}", 2_350_000, "mm", "2.35"),
        ("{% length nm bare=True %}", 25_400_000, "in", "1.0000"),
        ("{% length nm bare=True unit='mm' %}", 25_400_000, "in", "25.40"),
        ("{% length nm bare=True signed=True %}", 620_000, "mm", "+0.62"),
        ("{% length nm bare=True signed=True %}", -620_000, "mm", "\N{MINUS SIGN}0.62"),
        ("{% length nm bare=True signed=True %}", 0, "mm", "0.00"),
        ("{% length nm 3 bare=True %}", 1_234_500, "mm", "1.234"),
        ("{% length nm %}", None, "mm", "\N{EN DASH}"),
    ],
)
def test_a_length_is_shown_in_the_unit_of_the_reader(tag, nm, units, text):
    assert shown(tag, nm, units) == text


def test_a_length_never_parts_from_its_unit():
    assert shown("{% length nm %}", 1_500_000) == '<span class="nowrap">1.50 mm</span>'


def test_who_is_not_signed_in_reads_millimeters():
    page = Template("{% load lengths %}{% length nm bare=True %} {% length_unit %}")
    assert page.render(Context({"nm": 1_000_000})) == "1.00 mm"


def test_a_value_that_misses_a_limit_is_never_told_as_that_limit():
    """0.4724 in is 11.99896 mm, where 12 mm at least are required."""
    low = 11_998_960
    assert lengths.length(low, "mm", beyond=low - 12_000_000) == "11.999 mm"
    assert lengths.on_map(3_000_400, "mm", beyond=400) == "3.0004"
    assert lengths.on_map(-500_001, "mm", signed=True, beyond=-1).endswith("0.500001")
    # Inside, and where two digits tell it, it is told as ever.
    assert lengths.length(11_998_960, "mm", beyond=0) == "12.00 mm"
    assert lengths.length(3_010_000, "mm", beyond=10_000) == "3.01 mm"
    assert findings.beyond(-1_040, "mm") == "0.001 mm under"
    row = SimpleNamespace(
        value="0.4724", unit="in", exact=low, deviation=low - 12_000_000
    )
    assert characteristics.result("dimension", row, "mm") == "0.4724 in (11.999 mm)"
    assert characteristics.result("dimension", row, "in") == "0.4724 in"
