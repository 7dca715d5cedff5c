"""What the shop owns and makes, and the ledger of what was done to it."""

from .airframes import (
    Airframe,
    AirframeType,
    Hand,
    Lineage,
    Origin,
    Part,
    PartDesign,
    PartState,
    Placement,
    PlacementAct,
    Position,
    StructuralClass,
)
from .laminates import CureRecipe, Laminate, Ply
from .ledger import Counter, Entry, Fact, Incarnation, Seal
from .machines import Axis, AxisPlay, Machine, MillingSetup
from .materials import Lot, LotAct, LotActKind, LotState, Material, MaterialKind
from .people import Person, Role, SignInTry, Unit
from .photos import Photo, PhotoPin
from .pulls import (
    BagTest,
    CureTrace,
    Demold,
    PlyLaid,
    Pull,
    PullState,
    Release,
    ResinBatch,
    Work,
)
from .release import ReleaseCoat, ReleaseKind, ReleaseProduct
from .routes import RouteStep, StepDone, ToolStep
from .suspects import Decision, Hold, HoldAct, Suspect, SuspectDecision
from .tablets import Confirmation, PinTry, Proof, Tablet
from .tooling import (
    DefectRepair,
    Tool,
    ToolAct,
    ToolActKind,
    ToolDefect,
    ToolKind,
    ToolState,
)
from .visits import Visit
from .weights import AirframeWeighing, Stage, Weighing
from .withdrawals import Withdrawal

__all__ = [
    "SignInTry",
    "Tablet",
    "Proof",
    "PinTry",
    "Confirmation",
    "Airframe",
    "AirframeType",
    "AirframeWeighing",
    "Axis",
    "AxisPlay",
    "BagTest",
    "Counter",
    "CureRecipe",
    "CureTrace",
    "Decision",
    "DefectRepair",
    "Demold",
    "Entry",
    "Fact",
    "Hand",
    "Hold",
    "HoldAct",
    "Incarnation",
    "Laminate",
    "Lineage",
    "Lot",
    "LotAct",
    "LotActKind",
    "LotState",
    "Machine",
    "Material",
    "MaterialKind",
    "MillingSetup",
    "Origin",
    "Part",
    "PartDesign",
    "PartState",
    "Person",
    "Photo",
    "PhotoPin",
    "Placement",
    "PlacementAct",
    "Ply",
    "PlyLaid",
    "Position",
    "Pull",
    "PullState",
    "Release",
    "ReleaseCoat",
    "ReleaseKind",
    "ReleaseProduct",
    "ResinBatch",
    "Role",
    "RouteStep",
    "Seal",
    "Stage",
    "StepDone",
    "StructuralClass",
    "Suspect",
    "SuspectDecision",
    "Tool",
    "ToolAct",
    "ToolActKind",
    "ToolDefect",
    "ToolKind",
    "ToolState",
    "ToolStep",
    "Unit",
    "Visit",
    "Weighing",
    "Withdrawal",
    "Work",
]
