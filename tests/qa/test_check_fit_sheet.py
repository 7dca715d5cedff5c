"""The sheet that `check_fit --pdf` makes, read back with pypdf."""

import json
import math

import pytest
from pypdf import PdfReader

from qa.management.commands.check_fit import Command

HEADER = "station,x_mm,y_mm,gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm"


@pytest.fixture
def files(tmp_path):
    """A round hatch whose stations 4 to 6 are tight; station 9 was not measured."""
    joint, readings = tmp_path / "aft-hatch.csv", tmp_path / "second-fit.csv"
    rows, read = [HEADER], ["station,gap_mm,flush_mm"]
    for k in range(1, 25):
        angle = math.radians(15 * k)
        place = f"{300 * math.cos(angle):.3f},{300 * math.sin(angle):.3f}"
        rows.append(f"{k},{place},1.5,3.0,-0.5,0.5")
        gap = {4: "1.4", 5: "0.88", 6: "1.2", 9: ""}.get(k, "2.2")
        read.append(f"{k},{gap},0.1")
    joint.write_text("\n".join(rows))
    readings.write_text("\n".join(read))
    return joint, readings


def run(*arguments):
    try:
        Command().run_from_argv(["manage.py", "check_fit", *map(str, arguments)])
    except SystemExit as ended:
        return ended.code
    return 0


def text_of(path):
    return " ".join(" ".join(p.extract_text() for p in PdfReader(path).pages).split())


def test_the_sheet_tells_what_the_command_tells(files, tmp_path, capsys):
    assert run(*files, "--pdf", tmp_path / "out.pdf", "--json") == 1
    told = json.loads(capsys.readouterr().out)
    text = text_of(tmp_path / "out.pdf")
    assert "aft-hatch" in text and "second-fit" in text
    assert "gap tight, stations 4-6, worst 0.62 under at 5" in text
    assert "gap not measured: 9" in text
    assert "does not conform" in text and "simple acceptance" in text
    assert "−0.62" in text and "1.50 to 3.00" in text
    attached = PdfReader(tmp_path / "out.pdf").attachments["check.json"][0]
    assert json.loads(attached) == told


def test_the_same_files_give_the_same_bytes(files, tmp_path):
    for name in ("one.pdf", "two.pdf"):
        run(*files, "--pdf", tmp_path / name, "--uncertainty-mm", "0.05")
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()
    assert "Prob." in text_of(tmp_path / "one.pdf")


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))]
)
def test_the_sheet_comes_on_either_paper(files, tmp_path, paper, size):
    run(*files, "--pdf", tmp_path / "out.pdf", "--paper", paper)
    box = PdfReader(tmp_path / "out.pdf").pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_a_sheet_that_cannot_be_written_ends_with_4_and_leaves_nothing(
    files, tmp_path, capsys
):
    target = tmp_path / "folder"
    (target / "in the way").mkdir(parents=True)
    before = sorted(tmp_path.rglob("*"))
    assert run(*files, "--pdf", target) == 4
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith(f"{target}: cannot be written: ")
    assert sorted(tmp_path.rglob("*")) == before
    for nowhere in (
        tmp_path / "none" / "out.pdf",
        files[0] / "out.pdf",
        ".",
        "n" * 254,
    ):
        assert run(*files, "--pdf", nowhere) == 4
        assert capsys.readouterr().err.startswith(f"{nowhere}: cannot be written: ")
