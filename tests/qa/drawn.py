"""Drawings and sheets of an invented door, for the tests of drawing and paper."""

import math
from datetime import UTC, datetime

import numpy as np

from qa.drawing.joint_map import JointMap, MapStation
from qa.drawing.profile import Profile, ProfilePoint
from qa.queries.checks.blank_sheets import BlankRow, BlankSheet
from qa.queries.checks.check_sheets import CheckSheet, SheetFinding, SheetRow
from qa.queries.issue import Signature
from qa.queries.nonconformances.item_lists import ListedItem, NonconformanceList
from qa.queries.plans.edge_templates import TrimPoint, TrimTemplate
from qa.queries.plans.work_orders import WorkOrder, WorkRow

NOW = datetime(2026, 11, 24, 15, 30, tzinfo=UTC)
SHOP = "Larkfield Sailplane Works"
URL = "http://shop.example:8000/checks/6f0e2f0e-7a2b-4c1d-9e55-0123456789ab/"
STATES = (
    "conforms", "conforms", "above", "conforms", "below", "not_proven", "conforms",
    "not_measured", "stale", "skipped",
)  # fmt: skip


def rounded(count: int, width=620.0, height=900.0, radius=140.0):
    """`count` places evenly along a rounded rectangle, and its outline."""
    w, h = width / 2 - radius, height / 2 - radius
    outline = []
    for cx, cy, start in ((w, h, 0), (-w, h, 90), (-w, -h, 180), (w, -h, 270)):
        for k in range(31):
            turn = math.radians(start + 3 * k)
            outline.append((cx + radius * math.cos(turn), cy + radius * math.sin(turn)))
    points = np.array([*outline, outline[0]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    s = np.arange(count) * along[-1] / count
    places = [
        (
            float(np.interp(v, along, points[:, 0])),
            float(np.interp(v, along, points[:, 1])),
        )
        for v in s
    ]
    return places, outline


def joint_map(count=24, *, active=4, url="?station=", places=None, **shape) -> JointMap:
    at, outline = rounded(count, **shape)
    stations = []
    for i, (x, y) in enumerate(places or at):
        gap = STATES[i * 7 % 10]
        read = gap not in ("not_measured", "skipped")
        stations.append(
            MapStation(
                label=str(i + 1),
                x=x,
                y=y,
                gap_text=f"{2 + i % 7 * 0.13:.2f}" if read else "",
                flush_text=f"{'+' if i % 2 else '−'}{0.1 + i % 5 * 0.07:.2f}",
                gap_state=gap,
                flush_state="conforms",
                active=i == active,
                url=f"{url}{i + 1}" if url else "",
            )
        )
    return JointMap(
        "Door R1 to fuselage",
        tuple(stations),
        () if places else tuple(outline),
        flow=(1.0, 0.2),
        part_name="Door",
        limits_text="gap 1.50 to 2.50 mm",
    )


def profile(count=24) -> Profile:
    gap, flush = [], []
    for i in range(count):
        value = 2.0 + 0.6 * math.sin(i / 3)
        state = "above" if value > 2.5 else "below" if value < 1.5 else "conforms"
        s = i * 100.0
        value = None if i == 7 else value
        limits = (1.5, 2.5, 1.58, 2.42)
        gap.append(ProfilePoint(str(i + 1), s, value, *limits, state, 0.1))
        flush.append(
            ProfilePoint(str(i + 1), s, 0.1, -0.3, 0.2, None, None, "conforms")
        )
    return Profile("Door R1", "mm", count * 100.0, tuple(gap), tuple(flush))


def check_sheet(count=24, **changes) -> CheckSheet:
    drawn = joint_map(count, url="", active=None)
    rows = []
    for station in drawn.stations:
        for kind in ("gap", "flush"):
            text = getattr(station, f"{kind}_text")
            state = getattr(station, f"{kind}_state")
            rows.append(
                SheetRow(
                    station.label,
                    {"gap": "gap", "flush": "flushness"}[kind],
                    {"gap": "1.50 to 2.50", "flush": "−0.30 to +0.20"}[kind],
                    f"{text} mm" if text else "",
                    text,
                    state,
                    "+0.28" if state == "above" else "",
                    "0.972" if text else "",
                    "M. Vale",
                    "NC-0012" if state == "above" else "",
                )
            )
    return CheckSheet(
        **{
            "shop": SHOP,
            "number": "FC-0047",
            "joint_number": "J-012",
            "joint_name": "Door R1 to fuselage",
            "joint_revision": "C",
            "airframe_type": "Wren two-seat motor glider",
            "airframe_serial": "S/N 003",
            "fitted": "DR-101-2, S/N 014",
            "surround": "FU-201, S/N 003",
            "fit_up": "Fit-up 7",
            "done_by": "Mara Vale",
            "done_at": "2026-11-24 14:05 UTC",
            "condition": (("Held", "8 clecos"), ("Temperature", "21.5 °C")),
            "rule": "guarded, 95 %, u = 0.05 mm",
            "signatures": (
                Signature("Measured and recorded by"),
                Signature("Inspected by", note="not the person who did the work"),
            ),
            "outcome": "above",
            "outcome_word": "does not conform",
            "counts": (("conforms", "conform", 31), ("above", "do not conform", 9)),
            "map": drawn,
            "profile": profile(count),
            "rows": tuple(rows),
            "issued_at": NOW,
            "issued_text": "2026-11-24",
            "again": ("Gap not proven at station 6.",),
            "findings": (
                SheetFinding("NC-0012", "gap wide, stations 4-7, worst 0.62"),
            ),
            "url": URL,
            "digest": "ab12" * 16,
            "ledger_head": "1093 9f3c",
            "data": '{"check":"FC-0047"}',
        }
        | changes
    )


def blank_sheet(count=24) -> BlankSheet:
    rows = tuple(BlankRow(str(i + 1), "1.50 to 2.50", "") for i in range(count))
    drawn = joint_map(count)
    number, name = "J-012-B", "Door R1 to fuselage"
    return BlankSheet(
        SHOP, number, "J-012", name, "C", "Wren S/N 003", drawn, rows, NOW, url=URL
    )


def nonconformance_list(count=40) -> NonconformanceList:
    items = tuple(
        ListedItem(
            f"NC-{i:04}", "Wren 003", "J-012 Door R1", "gap tight, stations 4-7",
            "DR-101 SN 014", "FC-0047", "open", "2026-11-20", "Mara Vale",
        )
        for i in range(1, count + 1)
    )  # fmt: skip
    return NonconformanceList(SHOP, "NL-3", "open, airframe 003", items, NOW, url=URL)


def plan(count=24):
    from qa.drawing.plan_map import PlanMap, PlanStation

    drawn = joint_map(count, url="", active=None)
    stations = tuple(
        PlanStation(
            s.label, (0.8, 0.3), max(0.0, 0.9 - abs(i - 8) * 0.3), 0.0, "part",
            "2.00", "+0.05", "conforms", "conforms",
        )
        for i, s in enumerate(drawn.stations)
    )  # fmt: skip
    return PlanMap(drawn, stations, "move 0.80 right, 0.30 up")


def work_order(count=24) -> WorkOrder:
    drawn = plan(count)
    rows = tuple(
        WorkRow(
            s.label, "2.10", "+0.10", f"{s.trim:.2f}", "", "2.00", "+0.05", "conforms"
        )
        for s in drawn.stations
    )
    return WorkOrder(
        SHOP, "WO-0031", "J-012", "Door R1 to fuselage", "C", "DR-101-2 S/N 014", drawn,
        ("Move the door 0.80 mm right.", "Cut stations 7 to 11 to the next bite."),
        rows, "expected to conform", "conforms", NOW, url=URL,
        signatures=(Signature("Cut and recorded by"), Signature("Cut released by")),
    )  # fmt: skip


def trim_template(count=24, length=2600.0, **changes) -> TrimTemplate:
    points = tuple(
        TrimPoint(
            i * length / count,
            str(i + 1),
            max(0.0, 1.8 - abs(i - 8) * 0.3),
            max(0.0, 1.8 - abs(i - 8) * 0.3) * 0.6,
        )
        for i in range(count)
    )
    return TrimTemplate(
        **{
            "shop": SHOP,
            "number": "TT-0031",
            "joint_number": "J-012",
            "joint_name": "Door R1 to fuselage",
            "part": "DR-101-2 S/N 014",
            "side": "part",
            "points": points,
            "length": length,
            "closed": True,
            "body_on_left": False,
            "issued_at": NOW,
        }
        | changes
    )
