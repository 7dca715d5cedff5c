"""Instruments of the demo with their history: one found off, one lost, one damaged."""

from qa.actions import gauges
from qa.actions.instruments import save_instrument
from qa.models import Instrument
from shop.demo.times import day
from shop.numeric.units import NM_PER_UM as UM


def load(crew) -> None:
    emil, lena = crew["emil"], crew["lena"]
    step = Instrument.objects.get(code="SG-1")
    common = {"by": lena, "instrument": step, "laboratory": "regional calibration room"}
    gauges.record_calibration(
        **common, done_on=day(400), result="good", certificate="C-0411", due=day(35)
    )
    gauges.record_calibration(
        **common,
        done_on=day(36),
        result="adjusted",
        error_nm=30 * UM,
        expanded_nm=20 * UM,
        k_e3=2000,
        certificate="C-0702",
        due=day(-140),
        note="screw of the probe was loose",
    )
    _budget(emil, step)
    for code, status in (("FL-2", "lost"), ("SG-2", "damaged")):
        save_instrument(
            by=lena,
            code=code,
            name="Gauge for gap and step" if code == "SG-2" else "Feeler leaves",
            kind="step gauge" if code == "SG-2" else "feeler leaves",
            u_nm=55 * UM,
            status=status,
        )
    leaves = Instrument.objects.get(code="FL-1")
    gauges.record_calibration(
        by=lena,
        instrument=leaves,
        laboratory="the shop, against blocks",
        done_on=day(0),
        result="off",
        error_nm=40 * UM,
        note="the thinnest leaf is worn",
    )
    gauges.set_gauge_rules(by=emil, overdue="refuse", unfit="warn", outside="refuse")
    gauges.set_gauge_rules(by=emil, overdue="warn", unfit="refuse", outside="warn")


def _budget(by, instrument) -> None:
    rows = [
        {"name": "resolution", "kind": "resolution", "value_nm": 10 * UM},
        {
            "name": "calibration",
            "kind": "expanded",
            "value_nm": 20 * UM,
            "k_e3": 2000,
        },
        {
            "name": "repeatability",
            "kind": "repeats",
            "value_nm": 45 * UM,
            "df": 60,
        },
        {"name": "operator", "kind": "sd", "value_nm": 30 * UM, "df": 2},
        {"name": "temperature", "kind": "half_width", "value_nm": 10 * UM},
    ]
    gauges.save_budget(by=by, instrument=instrument, rows=rows, note="three people")
