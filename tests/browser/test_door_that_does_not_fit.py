"""A door that does not fit, from the first check to the last: plan, print, cut, check.

The printed template is measured as a builder would, with a rule laid on the paper.
"""

import re

import numpy as np
import pypdfium2
import pytest
from playwright.sync_api import expect

from qa.actions import checks
from qa.models import Check, FitUp, TemplatePrint, TrimCut
from qa.rules import planning, staleness
from shop.models import Person
from tests.browser.conftest import bring_a_session
from tests.qa.making import make_check, make_fit_up, make_joint, make_stations, mm, read

pytestmark = pytest.mark.browser

DPI = 300
PER_MM = DPI / 25.4
BAR_MM = 100.0


def door(by):
    """12 stations of which 3, 4 and 5 are 1.1 mm tight; hinged: it cannot be moved."""
    stations = make_stations(12, trim_max_nm=mm(2))
    hinge = {"name": "raise", "translation": [0, 0, 1], "min": 0, "max": 0.05}
    joint = make_joint(by, stations, name="Door to frame", motions=[hinge])
    check = make_check(by, make_fit_up(by, joint))
    fill(check, {label: "0.40" if label in "345" else "2.20" for label in every()})
    checks.finish_check(by=by, check=check)
    return check


def every():
    return [str(n) for n in range(1, 13)]


def fill(check, gaps):
    for label, gap in gaps.items():
        read(check, label, "gap", gap)
        read(check, label, "flush", "0.00")


def drawn(data: bytes):
    """The first page as dark pixels, (height, width), at 300 to the inch."""
    page = pypdfium2.PdfDocument(data)[0]
    image = page.render(scale=DPI / 72, grayscale=True).to_numpy()
    return np.squeeze(image) < 140


def longest_run(line) -> tuple[int, int]:
    """(start, length) of the longest dark run of a row of pixels."""
    edges = np.flatnonzero(np.diff(np.r_[0, line.astype(int), 0]))
    starts, ends = edges[::2], edges[1::2]
    if not len(starts):
        return 0, 0
    k = int(np.argmax(ends - starts))
    return int(starts[k]), int(ends[k] - starts[k])


def bars(dark) -> list[float]:
    """Lengths, mm, of drawn lines that are about 100 mm long: across, then up."""
    found = []
    for lines in (dark, dark.T):
        lengths = [longest_run(line)[1] / PER_MM for line in lines]
        near = [length for length in lengths if abs(length - BAR_MM) < 2]
        assert near, "no bar of 100 mm on the page"
        found.append(max(near))
    return found


def ticks(data: bytes, dark) -> dict[str, float]:
    """Where the ticks of the first strip are drawn, mm across the page, by station.

    The tag of a station tells where to look; what is measured is the line above it.
    """
    page = pypdfium2.PdfDocument(data)[0]
    text, high = page.get_textpage(), page.get_height() * 25.4 / 72
    whole = text.get_text_range()
    depth = r"[\d.]+(?: ± [\d.]+)?"
    found, tags = {}, re.compile(rf"(\d+): (?:none|take {depth}(?: of {depth})?)")
    for tag in tags.finditer(whole, 0, whole.index("strip 1 of")):
        left, low, _, _ = text.get_charbox(tag.start())
        _, _, right, _ = text.get_charbox(tag.end() - 1)
        ends = left * 25.4 / 72, right * 25.4 / 72
        found[tag[1]] = tick_near(dark, ends, high - low * 25.4 / 72)
    return found


def tick_near(dark, ends: tuple[float, float], y: float) -> float:
    """The middle of the longest upright line above a tag, within 12 mm of y."""
    rows = slice(max(0, round((y - 12) * PER_MM)), round((y + 12) * PER_MM))
    first = round((ends[0] - 1) * PER_MM)
    columns = dark[rows, first : round((ends[1] + 1) * PER_MM)]
    lengths = np.array([longest_run(column)[1] for column in columns.T])
    assert lengths.max() > 4 * PER_MM, "no tick beside the name of a station"
    longest = np.flatnonzero(lengths >= lengths.max() - 2)
    return (first + longest.mean() + 0.5) / PER_MM


def test_a_door_that_does_not_fit_is_planned_cut_and_conforms(page, live_site, axe):
    # The first plan of a server waits until the solver is imported.
    page.set_default_timeout(60_000)
    engineer = Person.objects.get(username="engineer")
    check = door(engineer)
    bring_a_session(page, live_site, "builder")
    page.goto(f"{live_site.url}/fit-checks/{check.entry_id}/")
    page.get_by_role("link", name="What next?").click()
    expect(page.locator("#do")).to_be_visible()
    expect(page.locator(".plan-steps")).to_contain_text("Take the next bite off")
    assert axe(page) == []

    data = print_template(page, live_site, check)
    measure(data, TemplatePrint.objects.get())

    # 0.6 of 1.25 mm: from 0.40 to 1.65, the limit and the aim inside it.
    page.get_by_role("button", name="Record what came off").click()
    expect(page.get_by_label("Taken off at station 4")).to_have_value("")
    assert axe(page) == []
    record_as_asked(page)
    expect(page.locator(".messages")).to_contain_text("Measure again")
    assert TrimCut.objects.filter(depth_nm=mm(0.75)).count() == 3
    expect(page.locator(".first-list")).to_be_visible()
    assert axe(page) == []

    rounds = 1
    while not fits(engineer):
        rounds += 1
        assert rounds < 8
        cut_again(page, live_site)
    state = now()
    assert not state.now.stale and len(state.now.values) == 24
    kept = {label for (label, _), one in state.now.values.items() if one.carried}
    assert len(kept) >= 6 and not kept & {"3", "4", "5"}
    page.reload()
    expect(page.locator(".counts")).to_contain_text("24")


def print_template(page, live_site, check) -> bytes:
    with page.expect_download() as download:
        page.get_by_role("button", name="Print the trim template").click()
    with open(download.value.path(), "rb") as file:
        return file.read()


def measure(data: bytes, row: TemplatePrint) -> None:
    """Both bars are 100 mm, and ticks stand as far apart as the stations do."""
    dark = drawn(data)
    for length in bars(dark):
        assert length == pytest.approx(BAR_MM, abs=0.2)
    (edge,) = row.edges
    s = {label: at for at, label, *_depths in edge["points"]}
    found = ticks(data, dark)
    assert set(found) >= {"2", "3"}
    assert found["3"] - found["2"] == pytest.approx(s["3"] - s["2"], abs=0.2)


def now():
    fit_up = FitUp.objects.select_related("joint", "airframe").order_by("-number")[0]
    return staleness.state_of_joint(fit_up.joint, fit_up.airframe)


def fits(by) -> bool:
    """Measure what is asked for first: witnesses, then what was cut; does it fit?"""
    state = now()
    check = make_check(by, state.fit_up)
    wanted = [*state.proposed, *(label for label in "345" if label in state.now.cut)]
    lost = {str(row + 1): depth for row, depth in enumerate(state_lost(state))}
    fill(check, {
        label: f"{0.40 + lost[label]:.2f}" if label in "345" else "2.20"
        for label in wanted
    })  # fmt: skip
    checks.finish_check(by=by, check=check)
    after = now()
    return (
        all(one.reading.verdict == "conforms" for one in after.now.values.values())
        and not after.now.stale
    )


def state_lost(state):
    from qa.rules import history

    rows = history.load(state.airframe, [state.joint])
    return rows.lost(state.joint, state.fit_up.part_id, "part", state.seam)


def record_as_asked(page) -> None:
    page.get_by_label("Cut as asked").check()
    record = page.get_by_role("button", name="Record this cut")
    expect(record).to_be_visible()  # and all that stands before it in the form
    moved = page.get_by_label("was moved")
    if moved.count():
        moved.check()
    record.click()


def cut_again(page, live_site) -> None:
    check = Check.objects.order_by("-number").first()
    loaded = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
    assert planning.work_out(loaded).live
    page.goto(f"{live_site.url}/fit-checks/{check.entry_id}/plan/")
    page.get_by_role("button", name="Record what came off").click()
    record_as_asked(page)
    expect(page.locator(".messages")).to_contain_text("Measure again")
