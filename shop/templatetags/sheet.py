"""Furniture of pages: marks, the title said once, the way through long lists."""

from django import template
from django.template.loader_tags import BLOCK_CONTEXT_KEY
from django.utils.html import format_html
from django.utils.translation import gettext as _

from shop import marks
from shop.models.pulls import CURED, CureState

register = template.Library()


@register.filter
def degrees(text) -> str:
    """Spell out "degC", as the numbers and the ledger have it, the way people read."""
    return str(text or "").replace("degC", "°C")


@register.simple_tag(takes_context=True)
def repeat_block(context, name: str):
    """Draw the block `name` again: a title is written once and shown three times."""
    blocks = context.render_context.get(BLOCK_CONTEXT_KEY)
    block = blocks.get_block(name) if blocks else None
    return block.nodelist.render(context).strip() if block else ""


@register.simple_tag
def mark(name: str):
    """Draw only the shape of a mark (see shop/marks.py), hidden from screen readers."""
    return marks.svg(name)


@register.simple_tag
def verdict_mark(verdict, deviation=None, kind: str | None = None):
    """Draw shape and word of a verdict.

    verdict: "conforms", "does_not_conform", "not_proven", "stale", "skipped", None (not
    measured), or an enum with such a value. deviation: signed, beyond the nearer limit,
    in any unit; its sign chooses the triangle. kind: "gap" or "flush" for the words of
    the trade.
    """
    name, word = marks.of_verdict(verdict, deviation, kind)
    return format_html(
        '<span class="verdict">{}<span>{}</span></span>',
        marks.svg(name),
        word,
    )


@register.simple_tag
def cure_mark(state):
    """Draw shape and word of a cure, or of one thing that a recipe asks of it.

    state: a CureState, or "met", "not met" and "cannot say" as a trace keeps them.
    """
    cured = CURED.get(str(state)) or CureState(state)
    return format_html(
        '<span class="verdict">{}<span>{}</span></span>',
        marks.svg(cured.verdict),
        {"met": _("met"), "not_met": _("not met"), "open": _("open")}[cured.value],
    )


@register.simple_tag
def state_mark(state, label=None):
    """Draw shape and word of a state of a record; `label` replaces the plain word."""
    name, word = marks.of_state(state)
    return format_html(
        '<span class="state">{}<span>{}</span></span>',
        marks.svg(name),
        label or word,
    )


@register.inclusion_tag("shop/sections/paging.html", takes_context=True)
def pages(context, page):
    """Draw the way through a paginated list; `page` is a django.core.paginator.Page.

    The filter in the address is kept and only `page` changes.
    """
    return {"page": page, "request": context.get("request")}
