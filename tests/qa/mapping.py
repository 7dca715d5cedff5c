"""What the pages that map a joint are sent, for the tests of them."""

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from .making import make_position, make_type

FILE = """station,x_mm,y_mm,gap_min_mm,gap_max_mm
A,0,0,1.5,3
B,400,-40,1.5,3
C,800,0,1.5,3
D,840,250,1.5,3
E,800,500,1.5,3
F,400,540,1.5,3
G,0,500,1.5,3
H,-40,250,1.5,3
"""
# Its corners turn by more than 20 degrees, so that every normal is stated.
SQUARE = """station,x_in,y_in,normal_x,normal_y,gap_min_in,gap_max_in,flush_max_mm
1,5,0,0,-1,0.040,0.120,0.5
2,10,5,1,0,0.040,0.120,0.5
3,5,10,0,1,0.040,0.120,0.5
4,0,5,-1,0,0.040,0.120,0.5
"""


def requirement(**said):
    return {
        "closed": "closed",
        "part_inside": "inside",
        "marks_on": "surround",
        "rule": "simple",
        "edition": "2017",
        "units": "mm",
        "acceptance_finish": "any",
        "stations": SQUARE,
        **said,
    }


def between(engineer, **said):
    kind = make_type(engineer)
    return requirement(
        position=make_position(engineer, type=kind).pk,
        surround=make_position(engineer, type=kind).pk,
        number="J-7",
        name="Left door to frame",
        first_line="1",
        **said,
    )


def post(client, data, do="look", **files):
    return client.post(reverse("new_joint"), {**data, "do": do, **files})


def upload(text, name="door.csv"):
    data = text if isinstance(text, bytes) else text.encode()
    return SimpleUploadedFile(name, data, content_type="text/csv")


def told(answer):
    return [
        (one["line"], one["column"]) for one in answer.context["form"].complaint_rows
    ]


def revision_page(client, joint, **said):
    """What the page to revise a joint starts with, as it would be sent."""
    page = client.get(reverse("revise_joint", args=[joint.pk]))
    form = page.context["form"]
    data = {name: form[name].value() or "" for name in form.fields if name != "file"}
    return {**data, "based_on": page.context["based_on"], **said}


def send(client, joint, data, do="save"):
    return client.post(reverse("revise_joint", args=[joint.pk]), {**data, "do": do})


def columns(row, *, but):
    names = {field.attname for field in row._meta.concrete_fields} - but
    return {name: getattr(row, name) for name in names}
