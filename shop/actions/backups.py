"""Backups on record: where the shop wants them, and how the last ones went."""

from shop import roles
from shop.ledger import perform
from shop.models import BackupPlan
from shop.models.backups import MADE


def plan_backups(*, by, **said) -> BackupPlan:
    """Say where backups go, at which hour, and how many are kept; the newest holds."""
    roles.require(by, "plan backups")
    row = BackupPlan(**said)
    row.full_clean(exclude=["entry"])
    with perform("backup_plan/1", by=by, said=said) as act:
        return act.record(row)


def record_backup(*, place: str, **made) -> None:
    """Put a backup on record, or why there is none; nobody need have asked for it.

    made: problem, or folder, made_at, sealed, acts, files and faults of the backup.
    """
    with perform(MADE, by=None, said={"place": place, "problem": "", **made}):
        pass
