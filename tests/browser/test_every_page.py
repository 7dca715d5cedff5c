"""Every page and paper, with the demo on it, in which every state occurs: opens, fits
its screen, nothing lies over another, axe finds nothing.

A page is loaded once, then narrowed: no script of ours asks how wide it is.

The pages are those of the url table, with every row of the demo, so that a new page is
covered by being there.
"""

import bisect
import contextlib
import io
import re

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


@pytest.mark.skipif(
    connection.vendor != "sqlite", reason="keys begin at 1 in a new file only"
)
def test_every_row_of_the_demo_opens_on_every_page_and_paper(demo_db):
    """No state of anything breaks a page, and each paper has pages of words."""
    client, found = of_the_lead()
    faults, opened, papers = [], 0, 0
    for name, address in found.items():
        missing = 0
        for one in every_row(name, address):
            answer = client.get(one)
            # Rows are numbered without gaps: two that are not there are the end.
            missing = missing + 1 if answer.status_code == 404 else 0
            if missing > 1 and "/chain/" not in one:
                break
            opened += answer.status_code == 200
            if answer.status_code >= 500:
                faults.append(f"{one}: {answer.status_code}")
            if answer.status_code == 200 and "pdf" in answer["Content-Type"]:
                papers += 1
                data = b"".join(answer) if answer.streaming else answer.content
                if min(words_by_page(data)) < 100:
                    faults.append(f"{one}: an empty page")
    assert faults == []
    assert opened > 300 and papers > 30, (opened, papers)


def words_by_page(data: bytes) -> list[int]:
    """How many characters each page has, of a file in which a strict reader finds no
    fault (which takes a second to find the words of a page)."""
    sheets = len(pypdf.PdfReader(io.BytesIO(data), strict=True).pages)
    with contextlib.closing(pypdfium2.PdfDocument(data)) as paper:
        assert len(paper) == sheets
        return [page.get_textpage().count_chars() for page in paper]


def pages(part: int) -> dict[str, str]:
    """Addresses of the pages that the demo's lead may open, by url name."""
    client, found = of_the_lead()
    names = [name for name in sorted(found) if not found[name].endswith(".pdf")]
    # No page: what only takes a form (405), leads on (302), is not in the demo (404).
    opens = {}
    for name in names[part::PARTS]:
        if there := newest(client, [found[name], *every_row(name, found[name])]):
            opens[name] = there
    connection.close()
    assert len(opens) > 15 * 4 // PARTS, sorted(opens)
    return opens


def newest(client, rows: list[str]) -> str | None:
    """The last row that opens: it has been through most.

    Those of one number have no gaps, so the last is looked for by halves.
    """

    def opens(at):
        return client.get(rows[at]).status_code == 200

    if client.get(rows[0]).status_code == 405:
        return None
    if len(rows) == MOST_ROWS:
        first_missing = bisect.bisect(
            range(len(rows)), False, key=lambda at: not opens(at)
        )
        if first_missing:
            return rows[first_missing - 1]
    return next((rows[at] for at in reversed(range(len(rows))) if opens(at)), None)


@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_opens_fits_and_is_accessible(demo_site, open_page, axe, part):
    faults, around = [], set()
    page = open_page(service_workers="block")
    bring_a_session(page, demo_site, "lena")
    for address in pages(part).values():
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
