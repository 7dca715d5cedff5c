"""Photos and packs in a folder that halls share, or in an S3-compatible store."""

import gc
import logging
import shutil
import warnings

import boto3
import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.urls import reverse
from moto.server import ThreadedMotoServer

from shop.actions.photos import add_photo
from shop.ledger import Refused, file_store, kept_files
from shop.models import Photo
from shop.serving import backups
from tests.conftest import make_people

from .making_floor import make_tool
from .test_home import manage
from .test_photos import picture

KEYS = {"AWS_ACCESS_KEY_ID": "AKIAHALL", "AWS_SECRET_ACCESS_KEY": "s3cret-of-the-hall"}


@pytest.fixture(scope="module")
def s3():
    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    yield "http://{}:{}".format(*server.get_host_and_port())
    server.stop()


@pytest.fixture
def bucket(s3, settings, tmp_path, monkeypatch):
    """A store of this test, which this process keeps its files in: boto3's bucket."""
    for name, value in KEYS.items():
        monkeypatch.setenv(name, value)
    made = boto3.resource("s3", endpoint_url=s3, region_name="us-east-1")
    made = made.create_bucket(Bucket=f"hall-{abs(hash(tmp_path))}")
    settings.BUCKET = f"s3://{made.name}/shop?endpoint={s3}&region=us-east-1"
    settings.MEDIA_ROOT = tmp_path / "at hand"
    yield made
    made.meta.client.close()
    file_store._bucket.cache_clear()
    # Its connections end here, and not in the middle of another test.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


def add(people, seed=1):
    tool = make_tool(people["lead"])
    what = {"subject_kind": "tool", "subject_id": str(tool.pk)}
    return add_photo(
        by=people["builder"], content=picture(size=(320, 240 + seed)), **what
    )


def test_a_photo_lies_in_the_bucket_and_another_hall_shows_it(
    bucket, people, client_of, settings, tmp_path
):
    photo = add(people)
    assert [one.key for one in bucket.objects.all()] == [f"shop/{photo.file_name}"]
    settings.MEDIA_ROOT = tmp_path / "another hall"
    address = reverse("photo", args=[photo.sha256])
    answer = client_of("visitor").get(address)
    kept = bucket.Object(f"shop/{photo.file_name}").get()["Body"].read()
    assert answer.content == kept
    assert list(kept_files.faults()) == []
    # What was changed there is not shown here, and `ledger verify` says so.
    bucket.put_object(Key=f"shop/{photo.file_name}", Body=b"another picture")
    settings.MEDIA_ROOT = tmp_path / "a third hall"
    assert client_of("visitor").get(address).status_code == 404
    [fault] = kept_files.faults()
    assert "holds another picture" in fault
    bucket.Object(f"shop/{photo.file_name}").delete()
    [fault] = kept_files.faults()
    assert "is gone" in fault


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the same on both")
def test_a_backup_takes_the_files_out_of_the_bucket_and_restores_them_into_one(
    bucket, committed_db, settings, tmp_path
):
    people = make_people()
    photos = [add(people, seed) for seed in range(2)]
    shutil.rmtree(settings.MEDIA_ROOT / photos[0].sha256[:2])
    made = backups.make(tmp_path / "elsewhere")
    assert made.manifest.faults == [] and backups.faults_of(made) == []
    names = sorted(photo.file_name for photo in photos)
    assert [name for name, *_ in made.manifest.files] == names
    before = {one.key: one.get()["Body"].read() for one in bucket.objects.all()}
    bucket.objects.all().delete()
    home, here = tmp_path / "home", {"FAYLINE_FILES": settings.BUCKET}
    code, words = manage(home, "restore", str(made.folder), **here)
    assert code == 0, words
    assert {one.key: one.get()["Body"].read() for one in bucket.objects.all()} == before
    for secret in KEYS.values():
        assert secret not in words


def test_a_store_that_refuses_or_does_not_answer_is_said_and_nothing_is_acknowledged(
    bucket, people, client_of, settings, caplog
):
    caplog.set_level(logging.DEBUG)
    photo = add(people)
    missing = settings.BUCKET.replace(bucket.name, "no-such-hall")
    silent = "s3://hall?endpoint=http://127.0.0.1:1&region=x"
    for address, words in ((missing, "refuses"), (silent, "does not answer")):
        settings.BUCKET = address
        with pytest.raises(Refused, match=f"the store of the files {words}"):
            add(people, 2)
        assert Photo.objects.count() == 1
    shutil.rmtree(settings.MEDIA_ROOT)
    answer = client_of("lead").get(reverse("photo", args=[photo.sha256]))
    assert answer.status_code == 503
    [fault] = kept_files.faults()
    assert "cannot be read (the store of the files does not answer" in fault
    told = [one for one in caplog.records if not one.name.startswith("boto")]
    assert not [
        one for one in told if KEYS["AWS_SECRET_ACCESS_KEY"] in one.getMessage()
    ]


@pytest.mark.parametrize(
    "address",
    ["s3://", "s3://AKIA:s3cret@hall/shop", "ftp://hall/shop", "s3://hall?acl=public"],
)
def test_an_address_that_cannot_be_one_is_refused_without_repeating_it(address):
    with pytest.raises(ImproperlyConfigured, match="FAYLINE_FILES names") as no:
        file_store.options_of(address)
    assert "s3cret" not in str(no.value)


def test_the_photos_of_a_home_are_carried_into_the_bucket_and_read_back(
    bucket, people, settings, tmp_path
):
    folder, store = tmp_path / "photos", settings.BUCKET
    settings.BUCKET, settings.MEDIA_ROOT = "", folder
    photos = [add(people, seed) for seed in range(2)]
    spoiled = folder / photos[0].file_name
    right = spoiled.read_bytes()
    spoiled.write_bytes(b"another picture")
    settings.BUCKET, settings.MEDIA_ROOT = store, tmp_path / "at hand"
    with pytest.raises(CommandError, match="is not what its name says"):
        call_command("carry_files", str(folder))
    assert [one.key for one in bucket.objects.all()] == [f"shop/{photos[1].file_name}"]
    spoiled.write_bytes(right)
    call_command("carry_files", str(folder))
    there = {one.key: one.get()["Body"].read() for one in bucket.objects.all()}
    assert there == {
        f"shop/{one.file_name}": (folder / one.file_name).read_bytes() for one in photos
    }
    assert list(kept_files.faults()) == []


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the same on both")
def test_an_export_is_taken_into_a_site_that_keeps_its_files_in_a_bucket(
    bucket, committed_db, settings, tmp_path
):
    photo = add(make_people())
    file = tmp_path / "shop.zip"
    call_command("export", str(file))
    before = {one.key: one.get()["Body"].read() for one in bucket.objects.all()}
    bucket.objects.all().delete()
    here = {"FAYLINE_FILES": settings.BUCKET}
    code, words = manage(tmp_path / "home", "import_all", str(file), **here)
    assert code == 0, words
    assert {one.key: one.get()["Body"].read() for one in bucket.objects.all()} == before
    assert list(before) == [f"shop/{photo.file_name}"]
    for secret in KEYS.values():
        assert secret not in words
