"""`laminate` as it is run: a file in, text or JSON and an exit code out."""

import io
import json

import pytest
from django.core.management import call_command

HEADER = (
    "layer,kind,count,fiber_g_m2,resin_fraction,fiber_g_cm3,resin_g_cm3,"
    "thickness_mm,density_kg_m3,uptake_g_m2,mass_g_m2,area_m2,angle_deg"
)
PANEL = f"""{HEADER}
outer,ply,,200,0.45,1.80,1.15,,,,,,45
core,core,,,,,,5,80,150,,,
inner,ply,,200,0.45,1.80,1.15,,,,,,0
"""


def run(tmp_path, text, *options):
    """(exit code, standard output, standard error)"""
    path = tmp_path / "layers.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("laminate", str(path), *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def test_a_sandwich_panel_with_the_documented_keys(tmp_path):
    """400 + 327.3 + 400.0 + 300 = 1427.3 g/m2; computed."""
    code, out, err = run(tmp_path, PANEL, "--json")
    found = json.loads(out)
    assert (code, err) == (0, "")
    assert list(found) == [
        "layers",
        "thickness_mm",
        "mass_g_m2",
        "fiber_g_m2",
        "resin_g_m2",
        "uptake_g_m2",
        "core_g_m2",
        "film_g_m2",
        "fiber_volume_fraction",
        "mix",
        "part",
    ]
    assert found["mass_g_m2"] == pytest.approx(1427.3, abs=0.05)
    assert found["fiber_volume_fraction"] == pytest.approx(0.4385, abs=5e-5)
    assert (found["uptake_g_m2"], found["core_g_m2"]) == (300, 400)
    assert found["layers"][0]["angle_deg"] == 45
    assert (found["mix"], found["part"]) == (None, None)


def test_a_mold_by_counts(tmp_path):
    """3235.1 g/m2, 2.233 mm, resin 1472.1 g/m2; computed."""
    text = (
        "layer,kind,count,fiber_g_m2,resin_fraction,fiber_g_cm3,resin_g_cm3\n"
        "glass,ply,1,163,0.5,2.54,1.15\ncarbon,ply,4,400,0.45,1.8,1.15\n"
    )
    found = json.loads(run(tmp_path, text, "--json")[1])
    assert len(found["layers"]) == 5
    assert found["mass_g_m2"] == pytest.approx(3235.1, abs=0.05)
    assert found["thickness_mm"] == pytest.approx(2.233, abs=5e-4)
    assert found["resin_g_m2"] == pytest.approx(1472.1, abs=0.05)


def test_what_to_weigh_out_and_what_the_part_will_weigh(tmp_path):
    """By hand: 627.3 g in 1 m2, 10 % loss is 690 g, at 100 : 25 552 and 138 g."""
    options = ("--json", "--area-m2", "1", "--loss", "0.1", "--hardener", "25")
    found = json.loads(run(tmp_path, PANEL, *options)[1])
    assert found["mix"]["needed_g"] == pytest.approx(627.27, abs=0.01)
    assert found["mix"]["resin_g"] == pytest.approx(552, abs=0.01)
    assert found["mix"]["hardener_g"] == pytest.approx(138, abs=0.01)
    assert found["part"]["mass_g"] == pytest.approx(1427.27, abs=0.01)
    assert found["part"]["spread_g"] > 0


def test_layers_with_areas_of_their_own_need_no_option(tmp_path):
    text = PANEL.replace(",,45", ",2,45").replace(",150,,,", ",150,,1,")
    text = text.replace(",,0\n", ",2,0\n")
    found = json.loads(run(tmp_path, text, "--json")[1])
    assert found["part"]["mass_g"] == pytest.approx(363.636 * 4 + 700, abs=0.01)
    assert found["mix"]["hardener_g"] is None


def test_the_text_says_what_is_still_wanted(tmp_path):
    assert "give --area-m2" in run(tmp_path, PANEL)[1]
    assert "give --hardener" in run(tmp_path, PANEL, "--area-m2", "1")[1]
    said = run(tmp_path, PANEL, "--area-m2", "1", "--hardener", "25")[1]
    assert "mass 1427.3 g/m2" in said
    assert "hardener 144 g" in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("layer\nx\n", "kind: the column is missing"),
        (f"{HEADER},color\n" + "a" + "," * 13 + "\n", "color: the column is not known"),
        (f"{HEADER}\n", "there are no layers"),
        (f"{HEADER}\na,foam,,,,,,,,,,,\n", "2: kind: 'foam' is not ply, core or film"),
        (f"{HEADER}\n,ply,,,,,,,,,,,\n", "2: layer: the layer has no name"),
        (f"{HEADER}\na,ply,,200,,1.8,1.15,,,,,,\n", "resin_fraction: is empty; a ply"),
        (f"{HEADER}\na,ply,,200,45,1.8,1.15,,,,,,\n", "resin_fraction: must be 0 to"),
        (f"{HEADER}\na,ply,,x,0.4,1.8,1.15,,,,,,\n", "fiber_g_m2: 'x' is not a number"),
        (f"{HEADER}\na,ply,1.5,200,0.4,1.8,1.15,,,,,,\n", "count: must be a whole"),
        (f"{HEADER}\na,ply,1e400,200,0.4,1.8,1.15,,,,,,\n", "count: '1e400' is more"),
        (f"{HEADER}\na,ply,,200,0.4,1.8,1.15,,,,,,1e400\n", "angle_deg: '1e400' is"),
        (f"{HEADER}\na,ply,,200,0.4,0,1.15,,,,,,\n", "2: fiber_g_cm3: must be more"),
        (f"{HEADER}\na,ply,,200,0.4,1.8,1.15,5,,,,,\n", "thickness_mm: a ply has no"),
        (f"{HEADER}\na,core,,,,,,5,80,,,,\n", "uptake_g_m2: is empty; a core needs"),
        (f"{HEADER}\na,film,,,,,,,,,50,0,\n", "2: area_m2: must be more than 0"),
        ("", "the file is empty"),
    ],
)
def test_bad_input_ends_with_three_and_says_where_and_why(tmp_path, text, said):
    code, out, err = run(tmp_path, text)
    assert (code, out) == (3, "")
    assert "layers.csv" in err
    assert said in err


@pytest.mark.parametrize(
    ("options", "said"),
    [(("--hardener", "0", "--area-m2", "1"), "hardener_per_100 must be more than 0")],
)
def test_options_that_cannot_be_end_with_three(tmp_path, options, said):
    code, out, err = run(tmp_path, PANEL, *options)
    assert (code, out) == (3, "")
    assert said in err


@pytest.mark.parametrize(
    "option", ["--loss=-1", "--area-m2=-1", "--hardener=-1", "--loss=15"]
)
def test_an_amount_that_cannot_be_ends_with_three(option, capsys):
    from django.core.management import load_command_class

    command = load_command_class("shop", "laminate")
    parser = command.create_parser("manage.py", "laminate")
    with pytest.raises(SystemExit) as end:
        parser.parse_args(["a.csv", option])
    assert end.value.code == 3
    assert option.split("=")[0] in capsys.readouterr().err
