"""What a recipe asks of a cure, and why it is open, in words.

Takes what a trace keeps of each requirement: its name, what was asked as texts of
numbers, and why as [code, values].
"""

from django.utils.translation import gettext_lazy as _

from shop.numeric.cure_window import Requirement

NAMES = {
    "dwell": _("dwell"),
    "dwell_ceiling": _("dwell temperature"),
    "heating": _("heating"),
    "heating_least": _("heating, lagging sensor"),
    "peak": _("peak"),
    "cooling": _("cooling"),
    "end": _("end temperature"),
    "vacuum": _("vacuum"),
}
# By the numbers that were asked beside the first.
ASKED = {
    "dwell": _("at least %(least)s min with every sensor at %(at)s °C"),
    "dwell most": _(
        "at least %(least)s min with every sensor at %(at)s °C, at most %(most)s min"
    ),
    "dwell_ceiling": _("at most %(most)s °C during the dwell"),
    "heating": _("at most %(most)s K/min"),
    "heating_least": _("at least %(least)s K/min"),
    "peak": _("at most %(most)s °C"),
    "cooling": _("at most %(most)s K/min"),
    "end": _("every sensor at most %(most)s °C at the end"),
    "vacuum": _("at least %(least)s kPa below ambient"),
    "vacuum until": _(
        "at least %(least)s kPa below ambient until cooled to %(until)s °C"
    ),
}
WHY = {
    "never_there": _("%(sensor)s never got there with the others"),
    "ends_in_dwell": _("the trace ends during the dwell"),
    "begins_in_dwell": _("the trace begins during the dwell"),
    "begins_at_dwell": _("the trace begins at the dwell"),
    "no_dwell": _("there was no dwell"),
    "too_short": _("the trace is too short to show the dwell"),
    "nothing": _("nothing heard"),
    "asked_then": _("whether that was asked of it then is not known"),
    "dwell_when": _("when the dwell began and ended is not known"),
    "dwell_began": _("when the dwell began is not known"),
    "less_than": _("less than %(minutes)s minutes were recorded"),
    "no_vacuum": _("the trace has no vacuum"),
    "vacuum_unseen": _("the vacuum was not recorded"),
    "vacuum_throughout": _("the vacuum was not recorded throughout"),
    "cooled_when": _("when it had cooled is not known"),
    "ends_before_cooled": _("the trace ends before %(sensor)s had cooled"),
    "silent": _("%(sensor)s said nothing at all"),
    "heard_once": _("%(sensor)s was heard once only, at %(at)s min"),
    "silent_after": _("%(sensor)s was not heard after %(at)s min"),
    "silent_before": _("%(sensor)s was not heard before %(at)s min"),
    "silent_from": _("%(sensor)s was not heard from %(at)s to %(to)s min"),
}
DIGITS = {"K/min": ".3g", "kPa": ".3g", "degC": ".4g", "min": "g"}
UNITS = {"min": "min", "degC": "°C", "K/min": "K/min", "kPa": "kPa"}
DEGREES = ("at", "until")  # asked in degC, whatever the requirement is in


def requirement_record(requirement: Requirement) -> dict:
    """A requirement as a trace keeps it. Numbers are texts: a digest must never hang on
    how a float is written."""
    required = {
        name: format(value, DIGITS["degC" if name in DEGREES else requirement.unit])
        for name, value in requirement.asked.items()
    }
    return {
        "name": requirement.name,
        "asked": required,
        "outcome": requirement.outcome.value,
        "value": "" if requirement.value is None else f"{requirement.value:z.2f}",
        "unit": requirement.unit,
        "sensor": requirement.sensor or "",
        "why": [requirement.why.code, _texts(requirement.why.values)]
        if requirement.why
        else [],
    }


def _texts(values: dict) -> dict:
    return {
        name: value if isinstance(value, str) else f"{value:g}"
        for name, value in values.items()
    }


def name(kept: dict) -> str:
    return str(NAMES[kept["name"]])


def asked(kept: dict) -> str:
    """What the recipe asked."""
    more = {"dwell": "most", "vacuum": "until"}.get(kept["name"])
    key = f"{kept['name']} {more}" if more in kept["asked"] else kept["name"]
    return ASKED[key] % kept["asked"]


def why(kept: dict) -> str:
    """Why it is open or was not met, "" where nothing is to be said."""
    if not kept["why"]:
        return ""
    code, values = kept["why"]
    return WHY[code] % values


def rows(complaints: list[dict]) -> list[dict]:
    """The requirements of a trace as a page shows them."""
    return [
        {
            "name": name(complaint),
            "asked": asked(complaint),
            "found": f"{complaint['value']} {UNITS[complaint['unit']]}"
            if complaint["value"]
            else "",
            "sensor": complaint["sensor"],
            "outcome": complaint["outcome"],
            "why": why(complaint),
        }
        for complaint in complaints
    ]
