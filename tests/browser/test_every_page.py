"""Every page and paper, with the demo on it, in which every state occurs: opens, fits
its screen, nothing lies over another, axe finds nothing.

A page is loaded once, then narrowed: no script of ours asks how wide it is. Which row
of the demo shows most of it is known from opening all of them, once in a worker.

The pages are those of the url table, with every row of the demo, so that a new page is
covered by being there.
"""

import contextlib
import functools
import io
import re
from dataclasses import dataclass, field

import pypdf
import pypdfium2
import pytest
from django.db import connection
from django.test import Client

from shop.models import Person
from tests.browser.conftest import bring_a_session
from tests.test_odd_values import routes, with_argument
from tests.test_permissions import LEAD, OPEN, TABLET, addresses, contract

pytestmark = pytest.mark.slow

# Files, answers in JSON and addresses that only take a form or lead on.
NO_PAGE = ("api_", "service_worker", "tablet", "photo", "health", "trust_certificate")
LEADS_ON = {"sign_in", "scan", "today"}
WIDTHS = {390: 844, 820: 1180, 1280: 800}
# By how much tables are wider than the room they may scroll in.
RUN_OFF = """[...document.querySelectorAll('.table-scroll')]
    .map((room) => room.scrollWidth - room.clientWidth).filter((more) => more > 1)"""
# Things to press or type in that lie over one another, or beyond the edge.
OVERLAP = """() => {
  const press = "main a, main button, main input, main select";
  const shown = [...document.querySelectorAll(press)]
    .filter((one) => one.checkVisibility() && !one.closest('svg, .visually-hidden'))
    .flatMap((one) => [...one.getClientRects()].map((box) => ({ one, box })))
    .filter(({ box }) => box.width > 1 && box.height > 1);
  const said = [];
  for (const [k, { one, box }] of shown.entries()) {
    for (const { one: other, box: there } of shown.slice(k + 1)) {
      if (one.contains(other) || other.contains(one) || one === other) continue;
      const wide = Math.min(box.right, there.right) - Math.max(box.left, there.left);
      const tall = Math.min(box.bottom, there.bottom) - Math.max(box.top, there.top);
      const words = (it) => it.textContent.trim() || it.name;
      if (wide > 2 && tall > 2) said.push(`${words(one)} | ${words(other)}`);
    }
  }
  return said.slice(0, 5);
}"""
LOOK = f"""() => [
  document.querySelectorAll("h1").length,
  document.documentElement.scrollWidth - innerWidth,
  ({OVERLAP})(),
  {RUN_OFF},
]"""
# Leaves two of those side by side that differ in words and numbers only, which is all
# the same to axe; what has an id stays, since something may refer to it. Of what stands
# around every page, what was there on an earlier one goes whole. Returns what stood.
ONE_OF_A_KIND = """(known) => {
  const kept = /^(class|role|type|scope|dir|lang|tabindex|hidden|disabled)$|^aria-/;
  const words = /^aria-(label|description|valuetext|valuenow)$/;
  const said = ({ name, value }) =>
    name + (kept.test(name) && !words.test(name) ? `=${value}` : Boolean(value.trim()));
  const shape = (node) =>
    node.nodeType === Node.TEXT_NODE
      ? node.data.trim() && "text"
      : `<${node.localName} ${[...(node.attributes ?? [])].map(said).sort()}>` +
        `${[...node.childNodes].map(shape).join("")}</>`;
  const around = [...document.querySelectorAll(".zones, header.band, footer.foot")];
  const shapes = around.map(shape);
  around.forEach((part, at) => known.includes(shapes[at]) && part.remove());
  for (const parent of document.querySelectorAll("tbody, ul, ol, dl, select, svg, g")) {
    const seen = {};
    for (const child of [...parent.children]) {
      const like = shape(child);
      seen[like] = (seen[like] ?? 0) + 1;
      if (seen[like] > 2 && !child.id && !child.querySelector("[id]")) child.remove();
    }
  }
  return shapes;
}"""
MOST_ROWS = 30
PARTS = 2  # so many workers may look at pages at a time
# What was opened is known to one worker: the other test of its part goes there too.
every_part = pytest.mark.parametrize(
    "part",
    [
        pytest.param(part, marks=pytest.mark.xdist_group(f"pages {part}"))
        for part in range(PARTS)
    ],
)
FIRST_ROWS = 4  # of what has a kind as well, and of a number within a number


def of_the_lead() -> tuple[Client, dict[str, str]]:
    """A client of the demo's lead, and addresses of what may be opened, by name."""
    said = contract()
    found = {
        name: address
        for name, address in addresses().items()
        if not name.startswith(NO_PAGE)
        and name not in LEADS_ON
        and not address.endswith((".csv", ".dxf", ".ics", ".jpg", ".p7s"))
        and said[name] != TABLET
        and (said[name] == OPEN or said[name] >= LEAD)
    }
    client = Client(raise_request_exception=False)
    client.force_login(Person.objects.get(username="lena"))
    return client, found


def every_row(name: str, address: str) -> list[str]:
    """The address for every row that the demo could have for it."""
    from qa.models import Check, HoleCheck

    route = routes()[name]
    keys = re.findall(r"<[^>]*>", route)
    if "<uuid:uuid>" in keys:
        at = keys.index("<uuid:uuid>")
        model = HoleCheck if name == "hole_check" else Check
        rows = model.objects.values_list("entry_id", flat=True)
        return [with_argument(route, address, at, str(key)) for key in rows]
    found, many = [address], "kind" in route
    for at, key in enumerate(keys):
        if key.startswith("<int"):
            found = [
                with_argument(route, one, at, str(number))
                for one in found
                for number in range(1, FIRST_ROWS if many or at else MOST_ROWS)
            ]
    if "kind" in route and "chain" in name:
        from shop.identifiers import KINDS

        at = next(n for n, key in enumerate(keys) if ":kind" in key)
        found = [with_argument(route, o, at, kind) for o in found for kind in KINDS]
    return found


@dataclass
class Opened:
    """What came of opening every row; newest: the last page of words of each url name,
    which has been through most."""

    faults: list[str] = field(default_factory=list)
    opened: int = 0
    papers: int = 0
    newest: dict[str, str] = field(default_factory=dict)


@functools.cache
def opened_of(part: int) -> Opened:
    """Of the demo of the test that asks first; all copies of it are the same."""
    client, addresses_by_name = of_the_lead()
    walk = Opened()
    for name in sorted(addresses_by_name)[part::PARTS]:
        missing = 0
        for address in every_row(name, addresses_by_name[name]):
            answer = client.get(address)
            # Rows are numbered without gaps: two that are not there are the end.
            missing = missing + 1 if answer.status_code == 404 else 0
            if missing > 1 and "/chain/" not in address:
                break
            if answer.status_code == 405:  # it only takes a form, of any row
                break
            note(walk, name, address, answer)
    connection.close()
    return walk


def note(walk: Opened, name: str, address: str, answer) -> None:
    if answer.status_code >= 500:
        walk.faults.append(f"{address}: {answer.status_code}")
    if answer.status_code != 200:
        return
    walk.opened += 1
    if "pdf" in answer["Content-Type"]:
        walk.papers += 1
        data = b"".join(answer) if answer.streaming else answer.content
        if min(words_by_page(data)) < 100:
            walk.faults.append(f"{address}: an empty page")
    elif "html" in answer["Content-Type"]:
        walk.newest[name] = address


@pytest.mark.skipif(
    connection.vendor != "sqlite", reason="keys begin at 1 in a new file only"
)
@every_part
def test_every_row_of_the_demo_opens_on_every_page_and_paper(demo_db, part):
    """No state of anything breaks a page, and each paper has pages of words."""
    walk = opened_of(part)
    assert walk.faults == []
    assert walk.opened > 300 // PARTS, walk.opened
    assert walk.papers > 10, walk.papers


def words_by_page(data: bytes) -> list[int]:
    """How many characters each page has, of a file in which a strict reader finds no
    fault (which takes a second to find the words of a page)."""
    sheets = len(pypdf.PdfReader(io.BytesIO(data), strict=True).pages)
    with contextlib.closing(pypdfium2.PdfDocument(data)) as paper:
        assert len(paper) == sheets
        return [page.get_textpage().count_chars() for page in paper]


@every_part
def test_every_page_opens_fits_and_is_accessible(demo_site, open_page, axe, part):
    faults, around = [], set()
    # No page: what only takes a form (405), leads on (302), is not in the demo (404).
    newest = opened_of(part).newest
    assert len(newest) > 15 * 4 // PARTS, sorted(newest)
    page = open_page(service_workers="block")
    bring_a_session(page, demo_site, "lena")
    for address in newest.values():
        status = page.goto(demo_site.url + address).status
        faults += [f"{address}: {status}"] if status != 200 else []
        for width, height in WIDTHS.items():
            page.set_viewport_size({"width": width, "height": height})
            faults += [f"{address} {width}: {what}" for what in looked_at(page, width)]
        around.update(page.evaluate(ONE_OF_A_KIND, [*around]))
        faults += [f"{address}: {found}" for found in axe(page)]
    assert faults == []


def looked_at(page, width: int) -> list[str]:
    heads, wide, over, cut = page.evaluate(LOOK)
    faults = [f"{heads} headings of first rank"] if heads != 1 else []
    faults += [f"{wide} px too wide"] if wide > 0 else []
    faults += [f"lie over each other: {two}" for two in over]
    if width == 390:
        return faults  # there a wide table may scroll in its own room
    return faults + [f"a table runs {more} px off the edge" for more in cut]
