"""What the lists of the shop are as files: their columns."""

from decimal import Decimal

from django.utils.translation import gettext_lazy as _

from .list_files import Column, ListFile, state_word

STATE = Column(_("State"), state_word())
NAME = Column(_("Name"), "name")

TOOLS = ListFile(
    "tooling",
    _("Tooling"),
    (
        Column(_("Code"), "code"),
        NAME,
        Column(_("Kind"), "kind"),
        Column(_("Owner"), "owner"),
        Column(_("Hand"), "hand"),
        STATE,
        Column(_("Waits for"), "waits_for"),
        Column(_("Waiting, days"), "waiting"),
        Column(_("Who can take it"), "role"),
        Column(_("Where"), "place"),
        Column(_("Pulls"), "pulls"),
    ),
)

AIRFRAMES = ListFile(
    "airframes",
    _("Airframes"),
    (
        Column(_("Serial"), "serial"),
        NAME,
        Column(_("Type"), "type"),
        Column(_("Line"), "line_number"),
        Column(_("Parts fitted"), "fitted"),
    ),
)

DESIGNS = ListFile(
    "designs",
    _("Part designs"),
    (
        Column(_("Number"), "number"),
        Column(_("Revision"), "revision"),
        NAME,
        Column(_("Hand"), "hand"),
        Column(_("Mirror"), "mirror"),
        Column(_("Structural class"), "structural_class"),
        Column(_("Serials"), "parts"),
    ),
)

PARTS = ListFile(
    "parts",
    _("Parts"),
    (
        Column(_("Serial"), "serial"),
        Column(_("Design"), "design"),
        NAME,
        Column(_("Hand"), "hand"),
        STATE,
        Column(_("Sits in"), "sits"),
    ),
)

PULLS = ListFile(
    "pulls",
    _("Pulls"),
    (
        Column(_("Mold"), "mold"),
        Column(_("Pull"), "number"),
        Column(_("Laminate"), "laminate"),
        STATE,
        Column(_("Started"), "started_at"),
        Column(_("May come out from"), "release_from"),
        Column(_("Cure"), "cured"),
        Column(_("Minutes worked"), "minutes"),
    ),
)

HOLDS = ListFile(
    "holds",
    _("Holds"),
    (
        Column(_("What"), "label"),
        Column(_("Why"), "reason"),
        Column(_("Since"), "since"),
        Column(_("By"), "by"),
        Column(_("Lifted"), "lifted"),
        Column(_("Parts"), "parts"),
        Column(_("Parts undecided"), "undecided"),
    ),
)

LOTS = ListFile(
    "lots",
    _("Lots"),
    (
        Column(_("Lot"), "number"),
        Column(_("Material"), "material"),
        NAME,
        STATE,
        Column(_("What is past"), "past"),
        Column(_("Received"), "received_on"),
        Column(_("Expires"), "expires_on"),
        Column(_("Hours out"), lambda row: row.out_hours and Decimal(row.out_hours)),
        Column(_("Where"), "place"),
        Column(_("Supplier"), "supplier"),
        Column(_("Certificate of conformity"), "certificate"),
    ),
)

RELEASE_PRODUCTS = ListFile(
    "release-products",
    _("Release products"),
    (
        NAME,
        Column(_("Kind"), lambda row: row.get_kind_display()),
        Column(_("Minutes between coats"), "minutes_between"),
        Column(_("Minutes before lay-up"), "minutes_before_layup"),
        Column(_("Coats on a new surface"), "coats_new"),
        Column(_("Again after pulls"), "rewax_every"),
        Column(_("Source"), "source"),
    ),
)

MATERIALS = ListFile(
    "materials",
    _("Materials"),
    (
        Column(_("Code"), "code"),
        NAME,
        Column(_("Kind"), lambda row: row.get_kind_display()),
        Column(_("Density, kg/m³"), "density"),
        Column(_("g/m²"), "areal_mass"),
        Column(_("Lots"), "lot_count"),
    ),
)

RECIPES = ListFile(
    "cure-recipes",
    _("Cure recipes"),
    (NAME, Column(_("What it asks"), "words")),
)

LAMINATES = ListFile(
    "laminates",
    _("Laminates"),
    (
        Column(_("Code"), "code"),
        Column(_("Revision"), "revision"),
        NAME,
        Column(_("For the design"), "design"),
        Column(_("Resin"), lambda row: row.resin.code),
        Column(_("Cure"), "recipe"),
    ),
)

TO_WEIGH = ListFile(
    "to-weigh",
    _("Parts to weigh"),
    (
        Column(_("Serial"), "serial"),
        Column(_("Design"), "design"),
        Column(_("Name"), lambda row: row.design.name),
        Column(_("Estimated by hand"), lambda row: row.mass_mg is not None),
    ),
)

SIGNATURES = ListFile(
    "signatures",
    _("Signatures"),
    (
        Column(_("What was signed"), "what"),
        Column(_("As"), "word"),
        Column(_("By"), "who"),
        Column(_("Certificate"), "certificate"),
        Column(_("When"), "when"),
        Column(_("Does it hold?"), state_word()),
        Column(_("What changed"), lambda row: "; ".join(map(str, row.changed))),
    ),
)

PEOPLE = ListFile(
    "people",
    _("People"),
    (
        NAME,
        Column(_("Signs in as"), "username"),
        Column(_("Role"), lambda row: row.get_role_display()),
        Column(_("Certificate"), "certificate_kind"),
        Column(_("Number"), "certificate_number"),
        Column(_("May sign in"), "is_active"),
    ),
)

AUDIT = ListFile(
    "at-the-door",
    _("At the door"),
    (
        Column(_("When"), "at"),
        Column(_("What"), "what"),
        Column(_("Who"), "by"),
        Column(_("About whom"), "about"),
        Column(_("Details"), "details"),
        Column(_("From where"), "address"),
        Column(_("To look at"), "is_bad"),
    ),
)

DEVICES = ListFile(
    "devices",
    _("Devices and calendars"),
    (
        NAME,
        Column(_("Opens"), lambda row: row.get_opens_display()),
        Column(_("Whole shop"), "whole_shop"),
        Column(_("Acts for"), lambda row: row.person.name),
        Column(_("Made"), "made_at"),
        Column(_("Last seen"), "seen_at"),
        Column(_("Withdrawn"), "withdrawn_at"),
        Column(
            _("Refused now, as its person"),
            lambda row: "" if row.withdrawn_at else row.refused_because,
        ),
    ),
)

MACHINES = ListFile(
    "machines",
    _("Machines"),
    (
        Column(_("Name"), lambda shown: shown.machine.name),
        Column(_("Note"), lambda shown: shown.machine.note),
        Column(_("Largest play allowed"), lambda shown: shown.machine.play_limit_text),
        Column(
            _("Milled while play was above its limit"),
            lambda shown: ", ".join(
                f"{row.setup.tool.code} {row.setup.milled_on}" for row in shown.setups
            ),
        ),
    ),
)

ROUTES = ListFile(
    "routes",
    _("Routes"),
    (
        Column(_("Kind"), lambda step: step.get_kind_display()),
        Column(_("Order"), "order"),
        Column(_("Step"), "name"),
        Column(_("Who can take it"), lambda step: step.get_role_display()),
    ),
)
