"""What a revision of a joint says beside its stations, in words."""

from django.utils.translation import gettext_lazy as _

_FINISH, _EXPANSION = _("the finish still to come"), _("thermal expansion")
REQUIRED = {
    "note": _("the note"),
    "source": _("the source of the limits"),
    "part_inside": _("which side the part is on"),
    "closed": _("whether the seam is closed"),
    "marks_on": _("where the marks are"),
    "acceptance_condition": _("the condition of acceptance"),
    "acceptance_finish": _("the finish of acceptance"),
    "finish_part_nm": _FINISH,
    "finish_surround_nm": _FINISH,
    "rule": _("how it is judged"),
    "edition": _("how it is judged"),
    "aim_nm": _("the gap aimed at"),
    "repeatability_nm": _("the repeatability"),
    "flow_mdeg": _("the direction of the flow"),
    "part_expansion_e9": _EXPANSION,
    "surround_expansion_e9": _EXPANSION,
    "expanding_length_nm": _EXPANSION,
    "motions": _("how the part may move"),
    "attach_points": _("where shims sit"),
}
