"""What is to be corrected in a mold, frozen once decided, and what became of it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.models import DefectRepair, Fact, Frozen, PartDesign, Tool

from .joints import JointRevision


class ToolCorrection(Frozen):
    """What the fits of a mold's parts said, and what to do to it.

    `body` is canonical JSON: what was read (parts, pulls, openings, checks), how it was
    asked, and of every station what was told, the advice, and what the next part is
    expected to show. Pulls after `last_pull` are not in it.
    """

    number = models.PositiveIntegerField(unique=True)
    tool = models.ForeignKey(Tool, models.PROTECT, related_name="corrections")
    design = models.ForeignKey(PartDesign, models.PROTECT, related_name="+")
    revision = models.ForeignKey(JointRevision, models.PROTECT, related_name="+")
    last_pull = models.PositiveIntegerField()
    method = models.CharField(max_length=40)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("-number",)

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return f"TC-{self.number:04d}"


class CorrectionEnding(models.TextChoices):
    DONE = "done", _("done")
    WITHDRAWN = "withdrawn", _("withdrawn")


class CorrectionEnd(Fact):
    """A correction is done, and then a repair of the mold, or it is withdrawn; once.

    `last_pull`: the last pull that was started before it was done, or withdrawn.
    """

    correction = models.OneToOneField(
        ToolCorrection, models.PROTECT, related_name="end"
    )
    how = models.CharField(max_length=9, choices=CorrectionEnding)
    repair = models.OneToOneField(
        DefectRepair, models.PROTECT, related_name="+", null=True, blank=True
    )
    last_pull = models.PositiveIntegerField()
    note = models.CharField(max_length=400)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(how=CorrectionEnding.DONE, repair__isnull=False)
                | Q(how=CorrectionEnding.WITHDRAWN, repair__isnull=True),
                name="correction_end_as_it_says",
            ),
            models.CheckConstraint(
                condition=~Q(note=""), name="correction_ended_with_a_note"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.correction_id} {self.how}"


class PlugCorrection(Fact):
    """The plug was corrected where a mold's correction names it: a repair of the plug,
    on its own record. The mold's correction is done or withdrawn by itself. Molds that
    were made up to that day were made before it, however late it is recorded."""

    correction = models.OneToOneField(
        ToolCorrection, models.PROTECT, related_name="on_plug"
    )
    repair = models.OneToOneField(DefectRepair, models.PROTECT, related_name="+")
    note = models.CharField(max_length=400)
    # None of a record of before it was asked: on the day of its entry.
    done_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(note=""), name="plug_corrected_with_a_note"
            )
        ]

    def __str__(self) -> str:
        return f"{self.correction_id} on its plug"
