"""The commands that tell of sampling, of risk and of a budget of uncertainty."""

import io
import json

import pytest
from django.core.management import call_command


def run(name, *options):
    """(exit code, standard output, standard error)"""
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command(name, *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def test_a_sampling_plan_keeps_both_risks_and_tells_its_curve():
    """Montgomery, Introduction to Statistical Quality Control, 15.2.3: for p1 = 0.01,
    1 - alpha = 0.95, p2 = 0.06, beta = 0.10 the nomograph gives about n = 89, c = 2
    (from memory); the exact plan lies beside it."""
    code, out, _err = run("sampling_plan", "--good", "0.01", "--bad", "0.06", "--json")
    plan = json.loads(out)
    assert code == 0
    assert plan["accepted_when_good"] >= 0.95
    assert plan["accepted_when_bad"] <= 0.10
    assert abs(plan["n"] - 89) <= 45
    accepted = [one["accepted"] for one in plan["curve"]]
    assert accepted == sorted(accepted, reverse=True)
    code, out, _err = run("sampling_plan", "--good", "0.01", "--bad", "0.06")
    assert f"Look at {plan['n']}" in out


def test_the_guard_that_is_found_keeps_the_wished_risk():
    process = ("--mean", "0", "--sd", "0.2", "--u", "0.05", "--upper", "0.4")
    _, out, _ = run("acceptance_risk", *process, "--json")
    simple = json.loads(out)
    _, out, _ = run("acceptance_risk", *process, "--wish", "0.001", "--json")
    found = json.loads(out)
    assert simple["guard"] == 0
    assert simple["customer"] > 0.001
    assert found["customer"] == pytest.approx(0.001, rel=1e-6)
    assert found["shop"] > simple["shop"]
    assert found["accepted_within"][1] < 0.4


def test_a_check_of_many_risks_more():
    process = ("--mean", "0", "--sd", "0.2", "--u", "0.05", "--upper", "0.4", "--json")
    one = json.loads(run("acceptance_risk", *process)[1])
    ten = json.loads(run("acceptance_risk", *process, "--count", "10")[1])
    assert ten["conforming"] == pytest.approx(one["conforming"] ** 10)
    assert ten["customer"] > one["customer"]


def test_a_budget_is_combined_by_the_guide(tmp_path):
    """JCGM 100:2008, G.4.1: contributions known by few readings; 4.3.3 and F.2.2.1."""
    path = tmp_path / "budget.csv"
    path.write_text(
        "name,value,kind,k,df,doubt\n"
        "repeatability,0.03,standard,,9,\n"
        "certificate,0.02,certificate,2,,\n"
        "scale,0.01,resolution,,,\n"
        "temperature,0.01,half_width,,,0.25\n"
    )
    code, out, _err = run("uncertainty_budget", str(path), "--json")
    found = json.loads(out)
    assert code == 0
    parts = [0.03, 0.01, 0.01 / 12**0.5, 0.01 / 3**0.5]
    assert [c["u"] for c in found["contributions"]] == pytest.approx(parts)
    u = sum(part**2 for part in parts) ** 0.5
    assert found["u"] == pytest.approx(u)
    df = u**4 / (parts[0] ** 4 / 9 + parts[3] ** 4 / 8)  # 25 % in doubt is worth 8
    assert found["df"] == pytest.approx(df)
    assert sum(c["share"] for c in found["contributions"]) == pytest.approx(1)


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("a,1,guess,,,", "kind is one of"),
        ("a,,standard,,,", "not a number"),
        ("a,1,certificate,,,", "k belongs to a certificate"),
        ("a,1,standard,2,,", "k belongs to a certificate"),
        ("a,1,standard,,3,0.2", "give one"),
        (",1,standard,,,", "name is empty"),
        ("a,-1,standard,,,", "0 or more"),
        ("a,0,standard,,,", "one contribution above 0"),
        ("", "0 rows"),
    ],
)
def test_a_budget_that_cannot_be_is_told_by_its_line(tmp_path, row, reason):
    path = tmp_path / "budget.csv"
    path.write_text(f"name,value,kind,k,df,doubt\n{row}\n")
    code, out, err = run("uncertainty_budget", str(path))
    assert (code, out) == (3, "")
    assert reason in err


@pytest.mark.parametrize(
    "options",
    [
        ("sampling_plan", "--good", "0.1", "--bad", "0.05"),
        ("sampling_plan", "--good", "0.1", "--bad", "1.5"),
        ("sampling_plan", "--good", "x", "--bad", "0.5"),
        ("acceptance_risk", "--mean", "0", "--sd", "0", "--u", "1", "--upper", "1"),
        ("acceptance_risk", "--mean", "0", "--sd", "1", "--u", "1"),
        (
            *("acceptance_risk", "--mean", "0", "--sd", "1", "--u", "1"),
            *("--upper", "1", "--count", "0"),
        ),
    ],
)
def test_what_cannot_be_asked_ends_with_3(options):
    code, out, _err = run(*options)
    assert (code, out) == (3, "")
