"""Joint files with corners, distances by tape and positions by name."""

import json

import pytest
from django.core.management import call_command

from qa.files import joint as joint_file
from qa.files.columns import FileComplaints
from qa.forms.station_drafts import Positions, drafts
from qa.models import Joint

from .mapping import between, post, revision_page, send, told
from .test_joint_layouts import SHAPE

DOOR = """station,x_mm,y_mm,tape_mm,corner,gap_min_mm,gap_max_mm
,0,0,,,,
1,,,100,,1,3
2,,,500,,1,3
,600,0,,,,
3,,,200,,1,3
,600,400,,,,
4,,,300,,1,3
,0,400,,,,
5,,,1,,1,3
,0,0,,,,
"""
# A chamfer of 45 degrees whose corners are stations, each with its direction.
CHAMFER = """station,x_mm,y_mm,normal_x,normal_y,corner,gap_min_mm,gap_max_mm
1,0,0,-1,-1,,1,3
2,200,0,0,-1,,1,3
3,400,0,0.38268343,-0.92387953,yes,1,3
4,500,100,0.92387953,0.38268343,yes,1,3
5,500,300,1,0,,1,3
6,500,400,1,1,,1,3
7,0,400,-1,1,,1,3
"""
# 600 x 400 with rounds of 20 mm, a station in the middle of each and two on each side.
ROUNDS = """station,x_mm,y_mm,corner,gap_min_mm,gap_max_mm
1,-150,-200,,1,3
2,150,-200,,1,3
3,294.142,-194.142,,1,3
4,300,-90,,1,3
5,300,90,,1,3
6,294.142,194.142,,1,3
7,150,200,,1,3
8,-150,200,,1,3
9,-294.142,194.142,,1,3
10,-300,90,,1,3
11,-300,-90,,1,3
12,-294.142,-194.142,,1,3
"""
# Along y = 0 and, by a round of 34 mm with a station in its middle, up x = 600.
BEND = """station,x_mm,y_mm,tape_mm,corner,normal_x,normal_y
,0,0,,,,
1,,,100,,,
2,300,0,,,,
r,590,10,,no,,
3,600,200,,,,
,600,400,,,,
"""


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def client(client_of):
    return client_of("engineer")


def complaints(text, **options):
    with pytest.raises(FileComplaints) as refused:
        joint_file.parse(text.encode(), **options)
    return [(one.line, one.column, one.text) for one in refused.value.complaints]


def test_a_file_gives_stations_by_tape():
    read = joint_file.parse(DOOR.encode())
    places = {one.label: one.place[:2] for one in read.joint.stations}
    assert places == {
        **{"1": (100, 0), "2": (500, 0), "3": (600, 200), "4": (300, 400)},
        "5": (0, 399),
    }
    assert read.lines == (3, 4, 6, 8, 10)
    assert [one.gap_direction[:2] for one in read.joint.stations] == [
        *((0, -1), (0, -1), (1, 0), (0, 1), (-1, 0)),
    ]


def test_inches_by_tape_are_inches():
    text = "station,x_in,y_in,tape_in\n,0,0,\n1,,,2\n,10,0,\n2,,,5\n,10,10,\n3,,,1\n"
    places = [one.place[:2] for one in joint_file.parse(text.encode()).joint.stations]
    # From (10, 10) straight to (0, 0): an inch is 25.4 / sqrt(2) in x and y.
    assert places[:2] == [(50.8, 0), (254, 127)]
    assert places[2] == pytest.approx((254 - 17.961, 254 - 17.961), abs=1e-3)


def test_what_is_wrong_with_a_tape_is_said_at_its_line():
    beyond = DOOR.replace("2,,,500", "2,,,700")
    assert complaints(beyond) == [
        (
            4, "tape_mm",
            "700 mm from the corner is out of order: along the edge this row lies "
            "between 100.00 and 600.00 mm",
        ),
    ]  # fmt: skip
    both = DOOR.replace("2,,,500", "2,500,,500")
    assert complaints(both) == [
        (4, "tape_mm", "a station has a place or a distance, not both")
    ]
    neither = DOOR.replace("2,,,500", "2,,,")
    assert {why for _, _, why in complaints(neither)} == {
        "is empty; every station needs its place, or how far it is by tape"
    }
    space = "station,x_mm,y_mm,z_mm,tape_mm\n1,0,0,5,\n"
    ((line, column, why),) = complaints(space)
    assert (line, column) == (1, "z_mm") and "a flat joint" in why
    nameless = "station,x_mm,y_mm\n1,0,0\n,50,0\n3,60,40\n"
    assert complaints(nameless) == [(3, "station", "the station has no name")]


def test_the_command_line_judges_a_joint_by_tape(tmp_path, capsys):
    (tmp_path / "joint.csv").write_text(DOOR)
    (tmp_path / "readings.csv").write_text(
        "station,gap_mm,flush_mm\n" + "".join(f"{k},2,\n" for k in range(1, 6))
    )
    files = [str(tmp_path / name) for name in ("joint.csv", "readings.csv")]
    call_command("check_fit", *files, "--json")
    judged = json.loads(capsys.readouterr().out)["stations"]
    assert [one["gap"]["verdict"] for one in judged] == ["conforms"] * 5


def test_a_saved_joint_keeps_its_corners_and_says_so(client, engineer):
    answer = post(client, between(engineer, stations=CHAMFER), "save")
    assert answer.status_code == 302, told(answer)
    joint = Joint.objects.get()
    stations = list(joint.current.stations.all())
    assert [one.label for one in stations if one.corner] == ["3", "4"]
    page = client.get(answer.url)
    assert page.content.decode().count(">corner</td>") == 2
    data = revision_page(client, joint, reason="as it was")
    assert "corner" in data["stations"].splitlines()[0]
    # As it stands there it changes nothing, the corners neither.
    assert "Nothing was changed." in send(client, joint, data).content.decode()
    send(client, joint, {**data, "units": "in"})
    joint.refresh_from_db()
    assert joint.current.number == 2
    again = joint.current.stations.all()
    assert [one.label for one in again if one.corner] == ["3", "4"]


def test_a_door_with_small_rounds_maps_and_where_it_is_no_plain_shape_is_asked(
    client, engineer, tmp_path, capsys
):
    """By hand: in the middle of a round the edge looks 45 degrees."""
    door = between(engineer, stations=ROUNDS)
    assert "a sharp corner" not in post(client, door).content.decode()
    joint = joint_file.parse(ROUNDS.encode()).joint
    assert joint.gap_directions[5][:2] == pytest.approx((0.7071, 0.7071), abs=1e-3)
    askew = ROUNDS.replace("10,-300,90", "10,-298,90")
    door = between(engineer, stations=askew)
    page = post(client, door).content.decode()
    assert page.count("a sharp corner: the seam turns by 8") == 4
    assert "The edge has no sharp corners but those marked" in page
    drawn = post(client, {**door, "rounded": "on"}).content.decode()
    assert "a sharp corner" not in drawn and 'name="rounded"' in drawn
    assert post(client, {**door, "rounded": "on"}, "save").status_code == 302
    six = Joint.objects.get().current.stations.get(label="6")
    assert not six.corner
    assert six.gap_x_e9 / 1e9 == pytest.approx(0.7071, abs=0.01)
    # A cell says the same of one station, an option of all; a mark stays a mark.
    (tmp_path / "readings.csv").write_text(
        "station,gap_mm,flush_mm\n" + "".join(f"{k},2,\n" for k in range(1, 13))
    )
    said = askew.replace("142,,", "142,no,")
    for text, options in ((said, ()), (askew, ("--round",))):
        (tmp_path / "joint.csv").write_text(text)
        files = [str(tmp_path / name) for name in ("joint.csv", "readings.csv")]
        call_command("check_fit", *files, *options)
    marked = ROUNDS.replace("294.142,194.142,,", "294.142,194.142,yes,")
    told_of = [(line, text[:14]) for line, _, text in complaints(marked, rounded=True)]
    assert told_of == [(7, "a sharp corner"), (10, "a sharp corner")]


def test_what_is_said_of_a_round_holds_in_a_joint_by_tape():
    """By hand: in the middle of the round the edge looks 45 degrees."""

    def looks(text, label="r", **options):
        read = joint_file.parse(text.encode(), closed=False, **options)
        return read.joint.gap_directions[read.labels.index(label)][:2]

    read = joint_file.parse(BEND.encode(), closed=False)
    assert read.joint.stations[0].place[:2] == pytest.approx((100, 0), abs=0.01)
    assert looks(BEND) == pytest.approx((0.7071, -0.7071), abs=0.01)
    assert looks(BEND) == pytest.approx(looks(BEND.replace(",no,", ",,"), rounded=True))
    # The same where no tape is about, and where there is one on another side.
    plain = "station,x_mm,y_mm,corner\n0,0,0,\n2,300,0,\nr,590,10,no\n3,600,200,\n"
    plain += "4,600,400,\n"
    further = BEND.replace("1,,,100", "1,100,0,") + "5,,,9,,,\n,0,800,,,,\n"
    assert looks(further) == pytest.approx(looks(plain), abs=1e-6)
    # With one place on a side nothing tells how it lies, unless the normal is stated:
    # the tape then runs 565.86 to the round, 53.63 along it and 80.51 up from 34.14.
    few = BEND.replace(",600,400,,,,", "R,590,390,,no,,\n4,300,400,,,,\n,0,400,,,,")
    ((line, column, why),) = complaints(few, closed=False)
    assert (line, column) == (5, "normal_x") and "too few stations" in why
    stated = few.replace("10,,no,,", "10,,no,1,-1").replace("0,,no,,", "0,,no,1,1")
    stated = stated.replace("3,600,200", "t,,,700,,,\n3,600,200")
    read = joint_file.parse(stated.encode(), closed=False)
    assert read.joint.stations[3].place[:2] == pytest.approx((600, 114.65), abs=0.1)
    assert looks(stated) == pytest.approx((0.7071, -0.7071), abs=1e-4)
    # A spike is a corner, whatever is said.
    spike = BEND.replace("3,600,200", "3,300,20").replace(",600,400", ",10,30")
    assert [why[:14] for _, _, why in complaints(spike, closed=False)] == [
        "a sharp corner"
    ]


def test_a_joint_by_tape_is_saved_with_places(client, engineer):
    answer = post(client, between(engineer, stations=DOOR), "save")
    assert answer.status_code == 302, told(answer)
    two = Joint.objects.get().current.stations.get(label="2")
    assert (two.x_nm, two.y_nm, two.gap_y_e9) == (500_000_000, 0, -1_000_000_000)
    assert set(two.typed) == {"gap_min", "gap_max"}


def test_stations_are_laid_out_by_tape_on_the_page(client, engineer):
    data = {**between(engineer, stations=""), **SHAPE}
    data |= {"shape": "corners", "corners": "0,0\n600,0\n600,400\n0,400"}
    data |= {"spacing": "tape", "tape": "100 500\n200\n-\n50, 350"}
    answer = post(client, data, "lay")
    stations = answer.context["form"].joint_file.joint.stations
    assert [one.place[:2] for one in stations] == [
        *((100, 0), (500, 0), (600, 200), (0, 350), (0, 50)),
    ]
    short = post(client, {**data, "tape": "100 500\n200"}, "lay")
    assert "each of 4 sides" in short.context["layout"].errors["shape"][0]
    for said in ("100 x\n1\n1\n1", ""):
        wrong = post(client, {**data, "tape": said}, "lay")
        assert wrong.context["layout"].errors["tape"]
        assert wrong.context["layout"]["tape"].value() == said


# Positions


ROWS = [("FR-1", "Door frame", 7), ("FR-2", "Hatch frame", 8), ("HT", "Hatch", 9)]
ROWS += [("DL", "Door", 10), ("DR", "Door", 11)]


@pytest.mark.parametrize(
    ("said", "key"), [("FR-1", 7), ("fr-1", 7), ("Door frame", 7), ("HATCH", 9)]
)
def test_a_position_is_accepted_by_code_or_name(said, key):
    text = f"station,x_mm,y_mm,surround\n1,0,0,{said}\n2,50,0,\n3,99,0,\n"
    read = joint_file.parse(text.encode(), closed=False)
    assert [one.surround_id for one in drafts(read, Positions(ROWS))] == [
        key,
        None,
        None,
    ]


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("FR-3", "there is no position 'FR-3' on this type; the nearest is FR-"),
        ("hatch fraem", r"the nearest is FR-2 \(Hatch frame\)"),
        ("door", "'door' is the name of several positions: DL, DR"),
        ("zzzz", "there is no position 'zzzz' on this type"),
    ],
)
def test_what_is_refused_offers_the_nearest(said, why):
    text = f"station,x_mm,y_mm,surround\n1,0,0,{said}\n2,50,0,\n3,99,0,\n"
    read = joint_file.parse(text.encode(), closed=False)
    with pytest.raises(FileComplaints, match=why) as refused:
        drafts(read, Positions(ROWS))
    (only,) = refused.value.complaints
    assert (only.line, only.column) == (2, "surround")
    # Before the fitted part is chosen nobody knows whose positions are meant.
    with pytest.raises(FileComplaints, match="choose the fitted part first"):
        drafts(read, Positions())
