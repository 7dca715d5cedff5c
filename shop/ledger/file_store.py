"""Where photos and papers lie, each under the digest of its content.

FAYLINE_FILES says where: a folder (`photos` in the home where it says nothing, a shared
one where several halls work on one database), or an S3-compatible store,

    s3://bucket/prefix?endpoint=https://store.lan:9000&region=hall

whose keys boto3 finds where it always does (AWS_ACCESS_KEY_ID, ...): never in that
address, so that no log and no page can hold them. Of what lies in such a store a home
keeps a copy of each file that it was asked for: content by its digest never grows old.
"""

import contextlib
import functools
import hashlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.files.base import ContentFile

from shop.atomic_files import sync_folder, write_durably

PATIENCE_S = {"connect_timeout": 5, "read_timeout": 30}
TRIES = 3
OPTIONS = {"endpoint": "endpoint_url", "region": "region_name"}


class StoreFails(OSError):
    """The store does not answer, or refuses: which of the two it says."""


def name_of(digest: str, ending: str) -> str:
    return f"{digest[:2]}/{digest}.{ending}"


def keep(name: str, content: bytes) -> None:
    """Keep a file; it outlives a power cut when this returns. Raises OSError."""
    path = settings.MEDIA_ROOT / name
    if settings.BUCKET:  # what lies at hand says nothing of what the store has
        with _told():
            bucket = _bucket(settings.BUCKET)
            if not bucket.exists(name):
                bucket.save(name, ContentFile(content))
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    sync_folder(settings.MEDIA_ROOT)
    write_durably(path, content)


def path_of(name: str) -> Path:
    """Where a file lies on this computer; there is none where nobody has it."""
    path = settings.MEDIA_ROOT / name
    if settings.BUCKET and not path.exists():
        with contextlib.suppress(FileNotFoundError):
            content = _fetched(name)
            # What is not what its name says is nothing that was kept.
            if hashlib.sha256(content).hexdigest() == Path(name).stem:
                path.parent.mkdir(parents=True, exist_ok=True)
                write_durably(path, content)
    return path


def digest_of(name: str) -> str:
    """SHA-256 of what the store holds under a name. Raises OSError."""
    if settings.BUCKET:
        return hashlib.sha256(_fetched(name)).hexdigest()
    with (settings.MEDIA_ROOT / name).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def names() -> Iterator[tuple[str, int]]:
    """Every name in the store, in order, with the size of its file; -1 where the disk
    does not say."""
    if settings.BUCKET:
        yield from _names_in_bucket()
        return
    root = settings.MEDIA_ROOT
    for path in sorted(root.rglob("*")) if root.is_dir() else ():
        name = path.relative_to(root).as_posix()
        try:
            if path.is_file():
                yield name, path.stat().st_size
        except FileNotFoundError:
            pass  # one that goes meanwhile is named by no act
        except OSError:
            yield name, -1


@contextlib.contextmanager
def at_hand(name: str) -> Iterator[Path]:
    """A file of the store to read once; FileNotFoundError where there is none."""
    path = settings.MEDIA_ROOT / name
    if not settings.BUCKET or path.exists():
        yield path
        return
    handle, part = tempfile.mkstemp(dir=settings.HOME)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(_fetched(name))
        yield Path(part)
    finally:
        os.unlink(part)


# ------------------------------------------------------------------- the bucket


@functools.lru_cache(maxsize=4)
def _bucket(address: str):
    # Slow to import, and most shops have none.
    from botocore.config import Config  # noqa: PLC0415
    from storages.backends.s3 import S3Storage  # noqa: PLC0415

    config = Config(**PATIENCE_S, retries={"total_max_attempts": TRIES})
    return S3Storage(**options_of(address), client_config=config)


def options_of(address: str) -> dict:
    """Return what an address says; ImproperlyConfigured where it cannot be one."""
    try:
        parts = urlsplit(address)
        query = {name: values[-1] for name, values in parse_qs(parts.query).items()}
        good = parts.scheme == "s3" and parts.netloc and not {*query} - {*OPTIONS}
    except ValueError:
        good = False
    if not good or "@" in parts.netloc:
        raise ImproperlyConfigured(
            "FAYLINE_FILES names a folder, or a store as in "
            "s3://bucket/prefix?endpoint=https://store.lan:9000&region=hall; its keys "
            "are AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, never in the address."
        )
    options = {OPTIONS[name]: value for name, value in query.items()}
    where = {"bucket_name": parts.netloc, "location": parts.path.strip("/")}
    return {**where, **options, "addressing_style": "path", "default_acl": None}


@contextlib.contextmanager
def _told() -> Iterator[None]:
    """Say in words of ours what the store refused; none of them holds a key."""
    from boto3.exceptions import Boto3Error  # noqa: PLC0415
    from botocore.exceptions import BotoCoreError, ClientError  # noqa: PLC0415

    try:
        yield
    except ClientError as why:
        code = why.response.get("Error", {}).get("Code", "no reason given")
        raise StoreFails(f"the store of the files refuses ({code})") from None
    except (BotoCoreError, Boto3Error) as why:
        kind = type(why).__name__
        raise StoreFails(f"the store of the files does not answer ({kind})") from None


def _fetched(name: str) -> bytes:
    with _told(), _bucket(settings.BUCKET).open(name) as file:
        return file.read()


def _names_in_bucket() -> Iterator[tuple[str, int]]:
    with _told():
        bucket = _bucket(settings.BUCKET)
        prefix = f"{bucket.location.rstrip('/')}/".lstrip("/")
        for item in bucket.bucket.objects.filter(Prefix=prefix):
            yield item.key.removeprefix(prefix), item.size
