"""How long a pack takes, and its tables against other ways to print them:
`python tests/bench/pack_bench.py [JOINTS ...]`.

Wanted: 200 pages (80 joints of 24 stations, 60 photos) under 10 s and 400 MB, linear in
pages; rows a second of its tables at least half of bare canvas and 20 times HTML to
PDF (WeasyPrint, by an interpreter of its own that FAYLINE_WEASYPRINT names, since it is
no dependency).
The press is the product's own subprocess; its seconds are wall clock and processor.
"""

import io
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TREE = Path(__file__).resolve().parents[2]
SIZES = (20, 40, 80)
STATIONS, PHOTOS = 24, 60
ROWS, COLUMNS = 8_000, 8


def main() -> None:
    say = sys.stdout.write
    sizes = [int(one) for one in sys.argv[1:]] or SIZES
    say(f"{'joints':>8}{'pages':>8}{'wall s':>9}{'cpu s':>9}{'MB':>7}{'ms/page':>9}\n")
    for joints in sizes:
        done = subprocess.run(
            [sys.executable, __file__, "one", str(joints)],
            stdout=subprocess.PIPE,
            check=True,
            text=True,
        )
        say(done.stdout)
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as home:
        os.environ |= {"FAYLINE_HOME": home, "DJANGO_SETTINGS_MODULE": "shop.settings"}
        import django

        django.setup()
        tables(say)


def tables(say) -> None:
    say("\nrows of a table a second, and ratio to ours\n")
    ours = rate(our_table)
    say(f"{'this pack':<24}{ours:10.0f}{1:8.2f}\n")
    for name, found in (
        ("bare canvas", rate(bare_canvas)),
        ("WeasyPrint", elsewhere()),
    ):
        told = f"{found:10.0f}{found / ours:8.2f}" if found else "  not installed"
        say(f"{name:<24}{told}\n")


def cells(count: int) -> list[list[str]]:
    words = ["gap", "1.24 to 2.74", "1.95", "conforms", "SG-1", "", "Bea, FC-0012"]
    return [[f"J-101.{row}G", *words] for row in range(count)]


def rate(way) -> float:
    """Rows a second of processor time, of the fastest of two."""
    best = 0.0
    for _ in range(2):
        start = time.process_time()
        count = way()
        best = max(best, count / (time.process_time() - start))
    return best


def elsewhere() -> float:
    """The rate of WeasyPrint in its own interpreter; 0 where none is named."""
    python = os.environ.get("FAYLINE_WEASYPRINT")
    if not python:
        return 0.0
    done = subprocess.run(
        [python, __file__, "weasyprint"], capture_output=True, check=True, text=True
    )
    return float(done.stdout)


def our_table() -> int:
    from datetime import UTC, datetime

    from qa.paper.pack_joints import characteristics
    from qa.queries.packs.joints import Characteristic
    from shop.paper import TitleBlock, sheets

    lines = [
        Characteristic(a, "1", b, c, d, "conforms", e, f, g, h)
        for a, b, c, d, e, f, g, h in cells(ROWS)
    ]
    block = TitleBlock("Shop", "Bench", "1", "Bench")
    when = datetime(2026, 1, 1, tzinfo=UTC)
    sheets(characteristics(lines, "mm"), block, issued_at=when)
    return ROWS


def bare_canvas() -> int:
    """One text object a page, nothing measured, wrapped or ruled."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(io.BytesIO(), invariant=1)
    rows = cells(ROWS)
    for at in range(0, len(rows), 45):
        page = canvas.beginText()
        page.setFont("Helvetica", 7)
        for number, row in enumerate(rows[at : at + 45]):
            for column, cell in enumerate(row):
                page.setTextOrigin(40 + 62 * column, 780 - 15 * number)
                page.textOut(cell)
        canvas.drawText(page)
        canvas.showPage()
    canvas.save()
    return ROWS


def weasyprint() -> int:
    from weasyprint import HTML

    count = ROWS // 10  # it takes long
    body = "".join(
        "<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>"
        for row in cells(count)
    )
    HTML(string=f"<table>{body}</table>").write_pdf()
    return count


def one(joints: int) -> None:
    """Make a shop of that many joints, and one pack of it by the press."""
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as home:
        os.environ |= {"FAYLINE_HOME": home, "DJANGO_SETTINGS_MODULE": "shop.settings"}
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        order = shop_of(joints)
        start = time.monotonic()
        subprocess.run(
            [sys.executable, "-m", "django", "print_pack", str(order.entry_id)],
            check=True,
            cwd=TREE,
        )
        wall = time.monotonic() - start
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        from qa import press

        issued = press.take(order, by=order.entry.by)
        cpu, mb = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
        per = 1000 * cpu / issued.pages
        sys.stdout.write(
            f"{joints:8}{issued.pages:8}{wall:9.2f}{cpu:9.2f}{mb:7.0f}{per:9.2f}\n"
        )


def shop_of(joints: int, people=None):
    """An airframe of so many joints, measured, and an order of its pack."""
    from qa import press
    from qa.actions.packs import order_pack
    from qa.models import PackOrder
    from shop.actions.photos import add_photo
    from shop.ledger import sealer
    from tests.conftest import make_people
    from tests.qa.making import make_check, make_fit_up, make_joint, read_all
    from tests.shop.making import make_airframe

    people = people or make_people()
    lead, airframe, check = people["engineer"], None, None
    gauge = None
    for number in range(joints):
        kind = {"type": airframe.type} if airframe else {}
        joint = make_joint(lead, STATIONS, number=f"J-{number + 100}", **kind)
        airframe = airframe or make_airframe(lead, type=joint.type)
        fit_up = make_fit_up(lead, joint, airframe=airframe)
        said = {"instrument": gauge} if gauge else {}
        check = make_check(lead, fit_up, **said)
        gauge = check.instrument
        read_all(check, gap_at={"4": "0.9", "5": "0.8"})
    for number in range(PHOTOS * joints // 80):
        add_photo(
            by=lead, content=picture(number), subject_kind="check",
            subject_id=str(check.pk), caption=f"photo {number}",
        )  # fmt: skip
    order = order_pack(by=people["inspector"], airframe=airframe)
    sealer.seal()
    return PackOrder.objects.select_related(*press.RELATED).get(pk=order.pk)


def picture(number: int) -> bytes:
    """A photo of 1600 by 1200 that no two share, as heavy as a real one."""
    from PIL import Image

    noise = Image.effect_noise((400, 300), 40 + number).resize((1600, 1200))
    out = io.BytesIO()
    noise.convert("RGB").save(out, "JPEG", quality=85)
    return out.getvalue()


if __name__ == "__main__":
    sys.path.insert(0, str(TREE))
    if sys.argv[1:2] == ["one"]:
        one(int(sys.argv[2]))
    elif sys.argv[1:2] == ["weasyprint"]:
        sys.stdout.write(str(rate(weasyprint)))
    else:
        main()
