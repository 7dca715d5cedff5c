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
from .holes import (
    HoleCheck,
    HolePattern,
    HolePatternRevision,
    HoleReading,
    PatternHole,
)
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
from .plans import (
    AppliedMove,
    CutRelease,
    MoveKind,
    PlanHabits,
    TemplatePrint,
    TrimCut,
)
from .shims import ShimStack, ShimStock

__all__ = [
    "AcceptanceFinish",
    "AppliedMove",
    "Check",
    "CheckFinish",
    "CheckState",
    "Choice",
    "CurrentReading",
    "CutRelease",
    "Disposition",
    "Edge",
    "Finish",
    "FitUp",
    "FitUpReason",
    "HoleCheck",
    "HolePattern",
    "HolePatternRevision",
    "HoleReading",
    "Instrument",
    "InstrumentStatus",
    "Joint",
    "JointRevision",
    "Kind",
    "MoveKind",
    "Nonconformance",
    "NonconformanceKind",
    "NonconformanceState",
    "NonconformanceStep",
    "Outcome",
    "PatternHole",
    "PlanHabits",
    "Reading",
    "Rule",
    "ShimStack",
    "ShimStock",
    "Side",
    "State",
    "Station",
    "TemplatePrint",
    "TrimCut",
    "TrimSide",
    "Verdict",
]
