"""Inspection packs: who ordered which, and the bytes that were issued."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, Fact, PaperSize, Part, Position

from .joints import Joint
from .nonconformances import REMARK_MOST, Nonconformance


class PackOrder(Fact):
    """Somebody asks for a pack of an airframe, or of one bay, part or joint of it.

    It gets its numbers here, so that they can be printed: `number` once in the shop,
    `issue` counts within `subject`. A pack that could not be made leaves its number
    unused, and the order says so.
    """

    number = models.PositiveIntegerField(unique=True)
    subject = models.CharField(max_length=120)
    issue = models.PositiveIntegerField()
    airframe = models.ForeignKey(Airframe, models.PROTECT, related_name="packs")
    joint = models.ForeignKey(
        Joint, models.PROTECT, related_name="packs", null=True, blank=True
    )
    part = models.ForeignKey(
        Part, models.PROTECT, related_name="packs", null=True, blank=True
    )
    bay = models.ForeignKey(
        Position, models.PROTECT, related_name="+", null=True, blank=True
    )
    paper = models.CharField(_("paper"), max_length=6, choices=PaperSize)
    # Where others reach the site: printed, and in the code on each page.
    address = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-number",)
        constraints = [
            models.UniqueConstraint(
                fields=["subject", "issue"], name="pack_issue_once_a_subject"
            ),
            models.CheckConstraint(
                condition=Q(joint__isnull=True, part__isnull=True)
                | Q(joint__isnull=True, bay__isnull=True)
                | Q(part__isnull=True, bay__isnull=True),
                name="pack_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(paper__in=PaperSize.values), name="pack_paper_known"
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"PK-{self.number:04d}"

    @property
    def what(self) -> str:
        """What it is of, by name; its joint, part, bay and airframe are loaded."""
        if self.joint:
            return f"{self.joint.number} {self.joint.name}"
        if self.part:
            return self.part.serial
        return self.bay.path if self.bay else str(self.airframe)


class IssuedPack(Fact):
    """The pages as they were issued: the bytes, by their sha256, are the record.

    `content_digest` is that of what the pages tell, as canonical JSON, printed on each;
    that JSON is kept too. The head of the ledger is the one that covered all of it.
    `signature` is detached (CMS), of exactly these bytes, by the shop's own
    certificate; its file lies beside.
    """

    order = models.OneToOneField(PackOrder, models.PROTECT, related_name="issued")
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    pages = models.PositiveIntegerField()
    content_digest = models.CharField(max_length=64)
    head_position = models.BigIntegerField()
    head_digest = models.CharField(max_length=64)
    # Entries that were saved in that second and not chained yet: 0 but by chance.
    unsealed = models.PositiveIntegerField(default=0)
    signature_sha256 = models.CharField(max_length=64)
    signer = models.CharField(max_length=200)
    # "3b" where it was validated as PDF/A-3b, "" where that was not tried or failed.
    archival = models.CharField(max_length=8, blank=True)

    class Meta:
        ordering = ("-order__number",)
        constraints = [
            models.CheckConstraint(
                condition=Q(pages__gt=0) & Q(size__gt=F("pages")),
                name="pack_has_pages",
            )
        ]

    def __str__(self) -> str:
        return self.sha256[:12]

    @property
    def file_name(self) -> str:
        return f"{self.sha256[:2]}/{self.sha256}.pdf"

    @property
    def record_name(self) -> str:
        return f"{self.content_digest[:2]}/{self.content_digest}.json"

    @property
    def signature_name(self) -> str:
        return f"{self.signature_sha256[:2]}/{self.signature_sha256}.p7s"


class PackRemark(Fact):
    """What somebody wrote against a line of an issued pack: each is an item."""

    pack = models.ForeignKey(IssuedPack, models.PROTECT, related_name="remarks")
    line = models.CharField(max_length=200)
    text = models.CharField(max_length=REMARK_MOST)
    item = models.OneToOneField(
        Nonconformance, models.PROTECT, related_name="pack_remark"
    )

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=~Q(text="") & ~Q(line=""), name="pack_remark_with_words"
            )
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.text}"
