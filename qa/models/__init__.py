"""What is required, measured, decided and proven."""

from .checks import (
    Check,
    CheckFinish,
    CheckState,
    Choice,
    CurrentReading,
    Finish,
    Kind,
    Outcome,
    Reading,
    Verdict,
)
from .fitups import FitUp, FitUpReason
from .instruments import Instrument, InstrumentStatus
from .joints import (
    AcceptanceFinish,
    Edge,
    Joint,
    JointRevision,
    Rule,
    Side,
    Station,
    TrimSide,
)
from .nonconformances import (
    Disposition,
    Nonconformance,
    NonconformanceKind,
    NonconformanceState,
    NonconformanceStep,
    State,
)

__all__ = [
    "AcceptanceFinish",
    "Check",
    "CheckFinish",
    "CheckState",
    "Choice",
    "CurrentReading",
    "Disposition",
    "Edge",
    "Finish",
    "FitUp",
    "FitUpReason",
    "Instrument",
    "InstrumentStatus",
    "Joint",
    "JointRevision",
    "Kind",
    "Nonconformance",
    "NonconformanceKind",
    "NonconformanceState",
    "NonconformanceStep",
    "Outcome",
    "Reading",
    "Rule",
    "Side",
    "State",
    "Station",
    "TrimSide",
    "Verdict",
]
