"""What the edges of a part and its surround had lost before they were checked."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from qa.models import Check, FitUp, Joint, Side, Station, TrimCut
from qa.rules.history import Seam
from shop.numeric.units import to_mm, to_nm


@dataclass
class Cuts:
    """By serial, joint and side, with the seams that they were recorded along."""

    seams: dict[int, Seam]
    cuts: dict[tuple[int, int, str], list[TrimCut]] = field(default_factory=dict)

    def lost_nm(self, fit_up: FitUp, check: Check, seam: Seam) -> list[int]:
        """What both edges had lost at each station of a seam before a check, nm."""
        lost = [0.0] * len(seam.stations)
        sides = (fit_up.part_id, Side.PART), (fit_up.surround_part_id, Side.SURROUND)
        for serial, side in sides:
            lines = defaultdict(list)
            for cut in self.cuts.get((serial, fit_up.joint_id, side), []):
                if cut.entry.pk < check.entry.pk:
                    spot = to_mm(cut.s_nm), to_mm(cut.depth_nm)
                    lines[cut.entry_id, cut.fit_up.revision_id].append(spot)
            for (_, revision), spots in lines.items():
                depths = seam.depths(spots, self.seams[revision])
                lost = [a + float(b) for a, b in zip(lost, depths, strict=True)]
        return [to_nm(depth) for depth in lost]


def load(fit_ups: list[FitUp], joints: Iterable[Joint], seams: dict[int, Seam]) -> Cuts:
    """The cuts of all that was fitted, at these joints: two statements. seams: what is
    loaded of them by revision; those that are missing come to it."""
    serials = {fit_up.part_id for fit_up in fit_ups}
    serials |= {fit_up.surround_part_id for fit_up in fit_ups} - {None}
    cuts = Cuts(seams)
    rows = TrimCut.objects.filter(part__in=serials, fit_up__joint__in=joints)
    elsewhere = {}
    for cut in rows.select_related("fit_up__revision", "entry").order_by("pk"):
        key = cut.part_id, cut.fit_up.joint_id, cut.side
        cuts.cuts.setdefault(key, []).append(cut)
        if cut.fit_up.revision_id not in seams:
            elsewhere[cut.fit_up.revision_id] = cut.fit_up.revision
    for station in Station.objects.filter(revision__in=elsewhere).order_by("order"):
        revision = station.revision = elsewhere[station.revision_id]
        seams.setdefault(revision.pk, Seam(revision, [])).stations.append(station)
    return cuts
