"""Lengths as pages show them. 1 in = 25.4 mm exactly (NIST SP 811, appendix B)."""

from types import SimpleNamespace

import pytest
from django.template import Context, Template


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
