"""The shapes that tell a verdict or a state, and the word that goes with each.

Discs and triangles are verdicts, squares are states of a record: the two are never
mistaken for each other, in color or without. Chosen and measured for separation with
color-blind vision in the reference on tablets (section 3.2); no traffic-light colors.
"""

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

# Inside a 24 x 24 box. Presentation attributes only: the policy allows no inline style.
SHAPES = {
    "conforms": (
        '<circle class="fill" cx="12" cy="12" r="10" stroke-width="2"/>'
        '<path d="M7 12.5l3.5 3.5L17 8.5" stroke-width="2.5"/>'
    ),
    "above": (
        '<path class="fill" d="M12 2.5L23 21.5H1z" stroke-width="1.5"/>'
        '<path class="sign" d="M12 10.5v8M8 14.5h8" stroke-width="2.5"/>'
    ),
    "below": (
        '<path class="fill" d="M12 21.5L1 2.5h22z" stroke-width="1.5"/>'
        '<path class="sign" d="M8 8.5h8" stroke-width="2.5"/>'
    ),
    "does_not_conform": (
        '<path class="fill" d="M7.5 1.5h9l6 6v9l-6 6h-9l-6-6v-9z" stroke-width="1.5"/>'
        '<path class="sign" d="M8 8l8 8M16 8l-8 8" stroke-width="2.5"/>'
    ),
    "not_proven": (
        '<path class="fill" d="M12 1.5L22.5 12 12 22.5 1.5 12z" stroke-width="2"/>'
        '<path class="solid" d="M1.5 12h21L12 22.5z"/>'
    ),
    "not_measured": (
        '<circle cx="12" cy="12" r="10" stroke-width="2" stroke-dasharray="4 3.2"/>'
    ),
    "stale": (
        '<path d="M7 2.5h10l6 9.5-6 9.5H7L1 12z" stroke-width="2"'
        ' stroke-dasharray="6 2.5"/>'
    ),
    "skipped": (
        '<circle class="fill" cx="12" cy="12" r="8" stroke-width="1.5"/>'
        '<path d="M0 12h7M17 12h7" stroke-width="2.5"/>'
    ),
    # Not a state of a thing but of a form: something to put right.
    "attention": (
        '<rect class="fill" x="2" y="2" width="20" height="20" stroke-width="1.5"/>'
        '<path class="sign" d="M12 6v7.5M12 16v2.5" stroke-width="3"/>'
    ),
    "state_open": (
        '<rect class="fill" x="3" y="3" width="18" height="18" stroke-width="2"/>'
    ),
    "state_half": (
        '<rect class="fill" x="3" y="3" width="18" height="18" stroke-width="2"/>'
        '<path class="solid" d="M3 3v18h18z"/>'
    ),
    "state_done": (
        '<rect class="solid" x="2" y="2" width="20" height="20"/>'
        '<path class="on-solid" d="M7 12.5l3.5 3.5L17 8.5" stroke-width="2.5"/>'
    ),
    "state_waiting": (
        '<rect x="3" y="3" width="18" height="18" stroke-width="2"'
        ' stroke-dasharray="4 3.2"/>'
    ),
    "state_held": (
        '<rect class="fill" x="3" y="3" width="18" height="18" stroke-width="2"/>'
        '<path d="M9 8v8M15 8v8" stroke-width="3"/>'
    ),
    "state_gone": (
        '<rect class="fill" x="3" y="3" width="18" height="18" stroke-width="2"/>'
        '<path d="M3 3l18 18M21 3L3 21" stroke-width="2"/>'
    ),
}
PAPER_FILLED = {"not_proven", "conforms", "skipped"} | {
    s for s in SHAPES if s.startswith("state")
}

STATES = {
    "open": "state_open",
    "found": "state_open",
    "draft": "state_waiting",
    "waiting": "state_waiting",
    "not_started": "state_waiting",
    "dispositioned": "state_half",
    "contained": "state_half",
    "running": "state_half",
    "in_progress": "state_half",
    "worked": "state_half",
    "laid_up": "state_open",
    "curing": "state_half",
    "demolded": "state_done",
    "closed": "state_done",
    "done": "state_done",
    "finished": "state_done",
    "released": "state_done",
    "held": "state_held",
    "hold": "state_held",
    "suspect": "state_held",
    "scrapped": "state_gone",
    "retired": "state_gone",
    "void": "state_gone",
    "superseded": "state_gone",
    "returned": "state_gone",
    "used_up": "state_gone",
}


def svg(name: str) -> SafeString:
    """Return the inline SVG of a mark; it is decoration, the word beside it speaks."""
    paper = " mark-paper" if name in PAPER_FILLED else ""
    return format_html(
        '<svg class="mark mark-{}{}" viewBox="0 0 24 24" aria-hidden="true"'
        ' focusable="false">{}</svg>',
        name,
        paper,
        mark_safe(SHAPES[name]),  # noqa: S308 -- the table above, nothing typed
    )


def of_verdict(verdict, deviation=None, kind: str | None = None) -> tuple[str, str]:
    """Return (mark, word) of a verdict; arguments as of the tag `verdict_mark`."""
    verdict = getattr(verdict, "value", verdict) or "not_measured"
    if verdict == "does_not_conform" and deviation:
        verdict = "above" if deviation > 0 else "below"
    words = {
        "conforms": _("conforms"),
        "does_not_conform": _("does not conform"),
        "not_proven": _("not proven"),
        "not_measured": _("not measured"),
        "stale": _("stale"),
        "skipped": _("skipped"),
        "above": {"gap": _("too wide"), "flush": _("proud")}.get(kind, _("above")),
        "below": {"gap": _("too tight"), "flush": _("low")}.get(kind, _("below")),
    }
    return verdict, words[verdict]


def of_state(state) -> tuple[str, str]:
    """Return (mark, word) of a state; one without a shape of its own reads as open."""
    key = str(getattr(state, "value", state))
    word = getattr(state, "label", key.replace("_", " "))
    return STATES.get(key, "state_open"), str(word)
