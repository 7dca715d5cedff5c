"""Where the shop wants its backups, and when."""

from shop import roles
from shop.ledger import perform
from shop.models import BackupPlan


def plan_backups(*, by, **content) -> BackupPlan:
    """Say where backups go, at which hour, and how many are kept; the newest holds."""
    roles.require(by, "plan backups")
    row = BackupPlan(**content)
    row.full_clean(exclude=["entry"])
    with perform("backup_plan/1", by=by, said=content) as act:
        return act.record(row)
