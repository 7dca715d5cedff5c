"""How the server fares: its disk, its log, its seals, its certificate, its backups."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from django.conf import settings
from django.db import connection
from django.utils import timezone

from shop.ledger import sealer
from shop.ledger.canonical import plain
from shop.models import Seal
from shop.numeric.units import BYTES_PER_MB

from . import backups

# A night of photos and a backup's worth of log: enough to act in good time.
LOW_BYTES = 800 * BYTES_PER_MB
# With less, what is told in whole MB is 0, and no act fits.
FULL_BYTES = BYTES_PER_MB
DAY = timedelta(days=1)
# The sealer comes every second.
BEHIND = timedelta(minutes=1)
# It renews itself sixty days before its end: where less is left, something keeps it.
SOON = timedelta(days=30)
# Of each file of errors no more than its end is read.
TAIL_BYTES = 200_000
COUNTED = 100
# The certificate that this process shows; told by whoever serves.
CERTIFICATES: list[Path] = []


@dataclass(frozen=True)
class Mistake:
    """A line of the log of what went wrong."""

    at: datetime
    message: str
    request: str


@dataclass(frozen=True)
class Health:
    """free, total: bytes of the disk that holds the home. mistakes: of the last day,
    the newest first, no more than COUNTED. unsealed_for: how long the oldest act waits
    for its seal."""

    free: int
    total: int
    mistakes: list[Mistake]
    unsealed_for: timedelta
    certificate_ends: datetime | None

    @property
    def is_full(self) -> bool:
        return self.free < FULL_BYTES

    @property
    def concerns(self) -> list[str]:
        """What the lead should look after, as codes."""
        ends = self.certificate_ends
        concerns = {
            "disk": self.free < LOW_BYTES,
            "sealer": self.unsealed_for > BEHIND,
            "certificate": ends is not None and ends - timezone.now() < SOON,
            "mistakes": bool(self.mistakes),
        }
        return [code for code, holds in concerns.items() if holds]


@dataclass(frozen=True)
class FullHealth(Health):
    """With what does not call for anybody. sealed_at: when the newest act that has a
    seal was received."""

    database: str
    unsealed: int
    sealed: int
    sealed_at: datetime | None
    backup: backups.Concern | None
    last_backup: datetime | None

    @property
    def concerns(self) -> list[str]:
        return [*super().concerns, *(["backup"] if self.backup else [])]


def short_health() -> Health:
    """Look at what may call for somebody, in one statement."""
    return Health(**_short())


def full_health() -> FullHealth:
    """Look at all of it, in a constant number of statements."""
    past = backups.attempts()
    good = next((attempt for attempt in past if attempt.is_good), None)
    newest = Seal.objects.order_by("-position").select_related("entry").first()
    return FullHealth(
        **_short(),
        database=database_words(),
        unsealed=sealer.unsealed(everywhere=False).count(),
        sealed=newest.position if newest else 0,
        sealed_at=newest.entry.received_at if newest else None,
        backup=backups.concern(),
        last_backup=good.at if good else None,
    )


def as_json(health: FullHealth) -> dict:
    """The same as JSON can hold it."""
    return {
        "database": health.database,
        "disk": {"free": health.free, "total": health.total},
        "sealed": {
            "position": health.sealed,
            "newest_at": plain(health.sealed_at),
            "waiting": health.unsealed,
            "waiting_s": round(health.unsealed_for.total_seconds(), 3),
        },
        "last_backup": plain(health.last_backup),
        "certificate_ends": plain(health.certificate_ends),
        "errors_of_a_day": len(health.mistakes),
        "concerns": health.concerns,
    }


def _short() -> dict:
    disk = shutil.disk_usage(settings.HOME)
    return {
        "free": disk.free,
        "total": disk.total,
        "mistakes": mistakes(),
        "unsealed_for": unsealed_for(),
        "certificate_ends": certificate_ends(),
    }


def database_words() -> str:
    """Kind and release of the database: nothing of where it is, or who asks it."""
    number = ".".join(map(str, connection.get_database_version()))
    return f"{connection.display_name} {number}"


def unsealed_for() -> timedelta:
    waiting = sealer.unsealed(everywhere=False).order_by("id")
    oldest = waiting.values_list("received_at", flat=True).first()
    return timezone.now() - oldest if oldest else timedelta(0)


def certificate_ends() -> datetime | None:
    """When the certificate that is served ends, None without one that can be read."""
    ends = []
    for path in CERTIFICATES:
        try:
            certificate = x509.load_pem_x509_certificate(path.read_bytes())
        except (OSError, ValueError, x509.InvalidVersion):
            continue
        ends.append(certificate.not_valid_after_utc)
    return min(ends, default=None)


def mistakes(now: datetime | None = None) -> list[Mistake]:
    """What the log of errors says of the last day, the newest first."""
    since = (now or timezone.now()) - DAY
    lines = [line for path in _logs() for line in _read(path) if line.at > since]
    return sorted(lines, key=lambda mistake: mistake.at, reverse=True)[:COUNTED]


def _logs() -> list[Path]:
    # "-" and "none" (shop/serving/logs.py) name no folder.
    folder = Path(settings.LOG)
    return sorted(folder.glob("errors*.log")) if folder.is_absolute() else []


def _read(path: Path) -> Iterator[Mistake]:
    try:
        with path.open("rb") as file:
            file.seek(max(0, path.stat().st_size - TAIL_BYTES))
            lines = file.read(TAIL_BYTES).splitlines()
    except OSError:
        return
    for line in lines:
        try:
            record = json.loads(line)
            at = datetime.fromisoformat(record["at"])
            yield Mistake(at, record["message"], record.get("request", ""))
        except (ValueError, KeyError, TypeError):
            continue  # the first line may be cut, the last may lack its end
