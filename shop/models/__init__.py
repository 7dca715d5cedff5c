"""What the shop owns and makes, and the ledger of what was done to it."""

from shop.models.handover import Visit

from .airframes import (
    Airframe,
    AirframeType,
    EmptyPlace,
    Placement,
    PlacementAct,
    Position,
)
from .backups import BackupPlan
from .devices import Device, Opens
from .identity import PaperSize, ShopIdentity
from .kept import Kept, Projection
from .laminates import CureRecipe, Laminate, Ply
from .ledger import (
    AUTHOR,
    UNPROVEN,
    WAITING,
    Authorship,
    Confirmation,
    Counter,
    Entry,
    Fact,
    Frozen,
    Incarnation,
    Seal,
    author_of,
)
from .machines import Axis, AxisPlay, Machine, MillingSetup
from .materials import Lot, LotAct, LotActKind, LotState, Material, MaterialKind
from .parts import (
    NOT_WEIGHED,
    Hand,
    Lineage,
    Origin,
    Part,
    PartDesign,
    PartState,
    StructuralClass,
)
from .people import Person, Role, Unit
from .photos import Photo, PhotoPin
from .pulls import (
    BagTest,
    CureState,
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
from .second_factor import RecoveryCode, SecondFactor
from .sign_ins import Session, SignInTry, Tried
from .signatures import Meaning, ProvenBy, Signature
from .suspects import Decision, Hold, HoldAct, Suspect, SuspectDecision
from .tablets import PinTry, Proof, Tablet, digest_of_token
from .temporary import (
    TemporaryItem,
    TemporaryKind,
    TemporaryState,
    TemporaryStep,
    TemporaryVerb,
)
from .tooling import (
    DefectRepair,
    Tool,
    ToolAct,
    ToolActKind,
    ToolDefect,
    ToolKind,
    ToolState,
)
from .weights import AirframeWeighing, Stage, Weighing
from .withdrawals import Withdrawal

__all__ = [
    "NOT_WEIGHED",
    "AUTHOR",
    "Meaning",
    "ProvenBy",
    "Signature",
    "SignInTry",
    "Session",
    "Tried",
    "SecondFactor",
    "RecoveryCode",
    "Tablet",
    "digest_of_token",
    "Proof",
    "PinTry",
    "Authorship",
    "Confirmation",
    "UNPROVEN",
    "WAITING",
    "Airframe",
    "AirframeType",
    "AirframeWeighing",
    "Axis",
    "AxisPlay",
    "BagTest",
    "Counter",
    "CureRecipe",
    "CureState",
    "CureTrace",
    "Decision",
    "DefectRepair",
    "Demold",
    "Device",
    "EmptyPlace",
    "Entry",
    "Fact",
    "Frozen",
    "Hand",
    "Hold",
    "HoldAct",
    "BackupPlan",
    "Incarnation",
    "Kept",
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
    "Opens",
    "Origin",
    "PaperSize",
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
    "Projection",
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
    "ShopIdentity",
    "Stage",
    "StepDone",
    "StructuralClass",
    "Suspect",
    "SuspectDecision",
    "TemporaryItem",
    "TemporaryKind",
    "TemporaryState",
    "TemporaryStep",
    "TemporaryVerb",
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
    "author_of",
]
