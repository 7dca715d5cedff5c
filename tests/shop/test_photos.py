"""Photos: encoded anew, upright, without a place; hostile files refused."""

import errno
import io
import os
import stat
import uuid
import zipfile
from xml.etree import ElementTree

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from shop.actions import routes
from shop.actions.photos import add_photo
from shop.identifiers import KINDS
from shop.ledger import Refused
from shop.models import Photo, PhotoPin, StepDone
from shop.rules.pictures import encode_photo

from .making_floor import make_tool


def picture(form="JPEG", size=(640, 480), **options) -> bytes:
    image = Image.linear_gradient("L").resize(size).convert("RGB")
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


@pytest.fixture(autouse=True)
def photos_of_this_test(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_common_pictures_become_jpeg(form):
    from pillow_heif import register_heif_opener

    register_heif_opener()
    jpeg, width, height = encode_photo(picture(form))
    assert (width, height) == (640, 480)
    assert Image.open(io.BytesIO(jpeg)).format == "JPEG"


def test_a_turned_picture_with_a_place_comes_out_upright_without_it():
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: turn by 90 degrees
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2] = "N", (47.0, 22.0, 1.0)
    jpeg, width, height = encode_photo(picture(exif=exif))
    assert (width, height) == (480, 640)
    assert len(Image.open(io.BytesIO(jpeg)).getexif()) == 0


def test_a_large_picture_is_made_smaller_and_the_same_bytes_twice():
    content = picture(size=(4000, 3000))
    first, again = encode_photo(content), encode_photo(content)
    assert first[1:] == (1600, 1200)
    assert first == again


def hostile() -> dict:
    moving = [Image.new("RGB", (9, 9), color) for color in ("red", "blue")]
    film = io.BytesIO()
    moving[0].save(film, "WEBP", save_all=True, append_images=moving[1:])
    bomb = bytearray(picture("PNG", (8, 8)))
    bomb[16:24] = (30_000).to_bytes(4, "big") * 2
    return {
        "text": b"hello",
        "empty": b"",
        "svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        "gif": picture("GIF"),
        "tiff": picture("TIFF"),
        "pdf": b"%PDF-1.7\n" + picture(),
        "moving": film.getvalue(),
        "truncated": picture()[:2000],
        "bomb": bytes(bomb),
    }


@pytest.mark.parametrize("name", sorted(hostile()))
def test_what_is_no_still_whole_picture_is_refused(name):
    with pytest.raises(Refused) as no:
        encode_photo(hostile()[name])
    assert no.value.field == "file"


def test_what_hangs_behind_a_picture_is_gone():
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("evil.html", "<script>")
    jpeg, _width, _height = encode_photo(picture() + zipped.getvalue())
    assert b"evil.html" not in jpeg


def test_a_file_over_the_limit_is_refused(settings):
    settings.PHOTO_LIMIT_BYTES = 1000
    with pytest.raises(Refused, match="MB"):
        encode_photo(picture())


def test_a_photo_is_kept_by_its_content_and_pinned(people, settings):
    said = {
        "by": people["builder"],
        "content": picture(),
        "subject_kind": "tool",
        "subject_id": "7",
    }
    first = add_photo(**said, x_ppm=250_000, y_ppm=500_000)
    second = add_photo(**said)
    assert first.sha256 == second.sha256
    assert len(list(settings.MEDIA_ROOT.rglob("*.jpg"))) == 1
    pin = PhotoPin.objects.earliest("pk")
    assert (pin.photo, pin.x_ppm, pin.y_ppm) == (first, 250_000, 500_000)


def test_a_photo_is_on_disk_with_its_name_before_it_is_acknowledged(
    people, settings, monkeypatch
):
    settings.MEDIA_ROOT.joinpath("there").touch()
    done = []
    sync, rename = os.fsync, os.replace

    def fsync(handle):
        kind = "folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file"
        done.append(f"{kind} on disk")
        sync(handle)

    def replace(part, path):
        done.append("named")
        rename(part, path)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "replace", replace)
    add_photo(
        by=people["builder"], content=picture(), subject_kind="tool", subject_id="7"
    )
    named = done.index("named")
    assert "file on disk" in done[:named]
    assert "folder on disk" in done[named:]


def test_a_photo_that_finds_no_room_leaves_nothing_and_may_come_again(
    people, settings, monkeypatch, client_of
):
    mold = make_tool(people["lead"])

    def full(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as disk:
        disk.setattr(os, "fsync", full)
        answer = client_of("builder").put(
            f"/api/photos/{uuid.uuid4()}?by=builder&thing={KINDS['tool'].code(mold.pk)}",
            picture(),
            content_type="image/jpeg",
        )
    # A tablet parks what is refused for good; 507 it sends again.
    assert answer.status_code == 507
    assert "No space left" in answer.json()["error"]["message"]
    assert Photo.objects.count() == 0
    assert [path for path in settings.MEDIA_ROOT.rglob("*") if path.is_file()] == []


def test_a_photo_of_a_mold_is_sent_shown_and_pinned_as_a_defect(
    people, client_of, settings
):
    mold = make_tool(people["lead"])
    client = client_of("builder")
    file = SimpleUploadedFile("IMG_1.JPG", picture())
    url = reverse("add_photo", args=["tool", mold.pk])
    assert client.post(url, {"file": file, "caption": "flange"}).status_code == 302
    photo, pin = Photo.objects.get(), PhotoPin.objects.get()
    address = reverse("photo", args=[photo.sha256])
    answer = client.get(address)
    assert answer.content[:3] == b"\xff\xd8\xff"
    said = {"what": "pit", "place": "lip", "photo": pin.pk, "x": "25", "y": "50"}
    client.post(reverse("note_defect", args=[mold.pk]), said)
    page = client.get(reverse("tool", args=[mold.pk]))
    (sketch,) = page.context["shown"].sketches
    assert [(one.what, one.x, one.y) for one in sketch.pins] == [("pit", 160, 240)]
    # Changed on disk it is not shown, and no browser keeps it.
    settings.MEDIA_ROOT.joinpath(photo.file_name).write_bytes(answer.content[:-9])
    answer = client.get(address)
    assert answer.status_code == 404 and b"was changed" in answer.content
    assert "immutable" not in answer.headers["Cache-Control"]


def test_a_page_says_in_its_place_why_a_photo_is_not_shown(people, client_of):
    tool = make_tool(people["lead"])
    by = {"by": people["lead"], "subject_kind": "tool", "subject_id": str(tool.pk)}
    kept = add_photo(**by, content=picture())
    path, reader = settings.MEDIA_ROOT / kept.file_name, client_of("lead")
    address = reverse("photo", args=[kept.sha256])

    def shown():
        answer = reader.get(address)
        assert answer["Content-Type"] == "image/svg+xml"
        assert "immutable" not in answer.get("Cache-Control", "")
        assert ElementTree.fromstring(answer.content).tag.endswith("svg")  # noqa: S314
        return answer.content.decode()

    assert reader.get(address)["Content-Type"] == "image/jpeg"
    path.write_bytes(picture(size=(64, 48)))
    assert "was changed" in shown()
    path.unlink()
    assert "is gone" in shown()
    path.mkdir()
    assert "cannot be read" in shown()
    assert reader.get(reverse("photo", args=["0" * 64])).status_code == 404


def test_a_bad_photo_says_why_beside_its_field(people, client_of):
    mold = make_tool(people["lead"])
    file = SimpleUploadedFile("photo.jpg", b"no picture at all")
    url = reverse("add_photo", args=["tool", mold.pk])
    page = client_of("builder").post(url, {"file": file})
    assert list(page.context["form"].errors) == ["file"]
    assert not Photo.objects.exists()


def test_a_step_is_done_with_its_photo(people, client_of):
    routes.set_route(by=people["lead"], kind="plug", steps=[("fill", "")])
    step = make_tool(people["lead"], kind="plug").steps.get()
    client, url = client_of("builder"), reverse("do_step", args=[step.pk])
    bad = SimpleUploadedFile("photo.jpg", b"no picture at all")
    page = client.post(url, {"photo": bad})
    assert list(page.context["form"].errors) == ["photo"]
    assert not StepDone.objects.exists()
    client.post(url, {"photo": SimpleUploadedFile("photo.jpg", picture())})
    done = StepDone.objects.get()
    assert PhotoPin.objects.get().subject_id == str(done.pk)
    page = client.get(reverse("step_done", args=[done.pk]))
    assert Photo.objects.get().sha256 in page.text
