"""What the main job costs beside doing less: `python tests/bench/main_job_bench.py`.

Side by side in one run:
  1,000 readings saved through HTTP by one tablet (a real server process, one request
  each) against the same 1,000 rows put into a table with plain sqlite3, one transaction
  each, at the same durability (WAL, synchronous FULL);
  inspection sheets a second against the same page drawn by bare reportlab canvas calls.
Prints rates and ratios; nothing passes or fails here.
"""

import http.client
import io
import json
import os
import sqlite3
import sys
import tempfile
import time
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

READINGS = 1000
SHEETS = 20
PASSWORD = "two-seat-glider"


def main() -> None:
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as folder:
        home = Path(folder)
        os.environ["FAYLINE_HOME"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "shop.settings"
        os.environ.pop("DATABASE_URL", None)
        prepare()
        through_http = saved_through_http(home)
        plain = plain_rows(home / "plain.sqlite3")
        tell("one fsync", fsyncs(home / "one"), "a second")
        tell("readings saved through HTTP", through_http, "a second")
        tell("the same rows, plain sqlite3, synchronous FULL", plain, "a second")
        ratio("saving through HTTP costs", plain / through_http, "x the plain row")
        sheet, bare = sheets_a_second()
        tell("inspection sheets (24 stations, A4)", sheet, "a second")
        tell("the same marks by bare canvas calls", bare, "a second")
        ratio("a sheet costs", bare / sheet, "x the bare canvas")


def tell(what: str, rate: float, unit: str) -> None:
    sys.stdout.write(f"{what:<52}{rate:>10.1f} {unit}\n")


def ratio(what: str, value: float, unit: str) -> None:
    sys.stdout.write(f"  {what:<50}{value:>10.2f} {unit}\n")


def prepare() -> None:
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from qa import demo

    demo.load()


def saved_through_http(home: Path) -> float:
    """Readings a second: one tablet, one connection, a PUT and a commit each."""
    from django.db import connection

    from qa.models import Check
    from tests.around import Site

    check = Check.objects.filter(state__state="open").order_by("-number").first()
    labels = list(check.fit_up.revision.stations.values_list("label", flat=True))
    identity = str(check.entry_id)
    connection.close()
    site = Site(home, {}).start()
    try:
        http_client = http.client.HTTPConnection("127.0.0.1", site.port)
        headers = sign_in(http_client)
        standing = standing_readings(http_client, headers, identity)
        begin = time.perf_counter()
        for n in range(READINGS):
            slot = (labels[n % len(labels)], "gap" if n % 2 else "flush")
            act = str(uuid.uuid4())
            content = {
                "check": identity,
                "station": slot[0],
                "kind": slot[1],
                "outcome": "value",
                "value": f"{1 + n % 90 / 100:.2f}",
                "unit": "mm",
                "supersedes": standing.get(slot),
                "reason": "benchmark",
            }
            body = {"form": "reading/1", "by": "bea", "made_at": "", "said": content}
            status, answer = ask(
                http_client, "PUT", f"/api/acts/{act}", headers, json.dumps(body)
            )
            if status != 201:
                raise SystemExit(f"{status} {answer}")
            standing[slot] = act
        return READINGS / (time.perf_counter() - begin)
    finally:
        site.kill()


def ask(client, method: str, path: str, headers: dict, body: str | None = None):
    client.request(method, path, body, headers)
    answer = client.getresponse()
    return answer.status, json.loads(answer.read() or b"null")


def sign_in(client) -> dict:
    client.request("GET", "/api/session")
    answer = client.getresponse()
    csrf = json.loads(answer.read())["csrf"]
    cookie = answer.getheader("Set-Cookie").split(";")[0]
    headers = {
        "Cookie": cookie,
        "X-CSRFToken": csrf,
        "Content-Type": "application/json",
    }
    body = json.dumps({"username": "bea", "password": PASSWORD})
    client.request("POST", "/api/session", body, headers)
    answer = client.getresponse()
    told = json.loads(answer.read())
    cookies = [
        value.split(";")[0]
        for name, value in answer.getheaders()
        if name == "Set-Cookie"
    ]
    return {**headers, "Cookie": "; ".join(cookies), "X-CSRFToken": told["csrf"]}


def standing_readings(client, headers, check: str) -> dict:
    _status, told = ask(client, "GET", f"/api/checks/{check}", headers)
    return {
        (one["station"], one["kind"]): one["act"]
        for one in told["readings"]
        if one["current"]
    }


def plain_rows(path: Path) -> float:
    """The same readings as bare rows, a transaction each, as durable."""
    database = sqlite3.connect(path, isolation_level=None)
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("PRAGMA synchronous=FULL")
    database.execute(
        "CREATE TABLE reading (id INTEGER PRIMARY KEY, act TEXT UNIQUE, station TEXT, "
        "kind TEXT, value TEXT, value_nm INTEGER, verdict TEXT)"
    )
    begin = time.perf_counter()
    for n in range(READINGS):
        database.execute("BEGIN IMMEDIATE")
        database.execute(
            "INSERT INTO reading (act, station, kind, value, value_nm, verdict) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (str(uuid.uuid4()), str(n % 24), "gap", "1.50", 1_500_000, "conforms"),
        )
        database.execute("COMMIT")
    return READINGS / (time.perf_counter() - begin)


def fsyncs(path: Path, count: int = 200) -> float:
    """How often a second the disk can promise something."""
    with path.open("wb") as file:
        begin = time.perf_counter()
        for _ in range(count):
            file.write(b"x")
            file.flush()
            os.fsync(file.fileno())
        return count / (time.perf_counter() - begin)


def sheets_a_second() -> tuple[float, float]:
    """Sheets a second from the record, and of the same marks replayed on a canvas."""
    from qa.models import Check
    from qa.paper import check_sheet
    from qa.queries.checks import check_pages as checks
    from qa.queries.checks import check_sheets

    rows = Check.objects.select_related(*checks.RELATED)
    view = checks.check_view(rows.filter(state__state="finished").first())
    sheet = check_sheets.sheet_of(view, "http://127.0.0.1/")
    pages = check_sheet.render(sheet)  # warm: fonts, caches
    begin = time.perf_counter()
    for _ in range(SHEETS):
        check_sheet.render(sheet)
    rate = SHEETS / (time.perf_counter() - begin)
    marks = marks_of(pages)
    begin = time.perf_counter()
    for _ in range(SHEETS):
        replay(marks)
    return rate, SHEETS / (time.perf_counter() - begin)


def marks_of(pdf: bytes) -> list[list[tuple]]:
    """What stands on the pages: texts with place and size, and paths as lines."""
    import pypdfium2
    import pypdfium2.raw as raw

    document = pypdfium2.PdfDocument(pdf)
    pages = []
    for page in document:
        marks = []
        for thing in page.get_objects(max_depth=4):
            box = thing.get_bounds()
            if thing.type == raw.FPDF_PAGEOBJ_TEXT:
                marks.append(("text", box[0], box[1], "Station 24: 1.85 mm"))
            elif thing.type == raw.FPDF_PAGEOBJ_PATH:
                marks.append(("line", *box))
        pages.append(marks)
    return pages


def replay(pages: list[list[tuple]]) -> bytes:
    from reportlab.pdfgen.canvas import Canvas

    from shop.paper import fonts

    fonts.register()
    out = io.BytesIO()
    canvas = Canvas(out, invariant=1)
    for marks in pages:
        canvas.setFont(fonts.REGULAR, 8)
        for mark in marks:
            if mark[0] == "text":
                canvas.drawString(mark[1], mark[2], mark[3])
            else:
                canvas.line(*mark[1:])
        canvas.showPage()
    canvas.save()
    return out.getvalue()


if __name__ == "__main__":
    main()
