"""The one ledger: each act that changes a fact appends one entry, chained by seals."""

from .acts import Act, Refused, ReusedAct, find_receipt, perform, writing
from .group_commit import together

__all__ = [
    "Act",
    "Refused",
    "ReusedAct",
    "find_receipt",
    "perform",
    "together",
    "writing",
]
