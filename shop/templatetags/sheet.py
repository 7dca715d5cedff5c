"""Furniture of pages: marks, the title said once, the way through long lists."""

from django import template
from django.template.loader_tags import BLOCK_CONTEXT_KEY
from django.utils.html import format_html

from shop.wording import icons, numbers, states, times

register = template.Library()
register.filter("zoned", times.zoned)
register.filter("true_minus", numbers.true_minus)


@register.simple_tag(takes_context=True)
def repeat_block(context, name: str):
    """Draw the block `name` again: a title is written once and shown three times."""
    blocks = context.render_context.get(BLOCK_CONTEXT_KEY)
    block = blocks.get_block(name) if blocks else None
    return block.nodelist.render(context).strip() if block else ""


@register.simple_tag
def mark(name: str):
    """Draw only the shape of a state (shop/wording/states.py), hidden from screen
    readers."""
    return icons.svg(states.VERDICTS.get(name) or states.RECORDS[name])


@register.simple_tag
def verdict_mark(verdict, deviation=None, kind: str | None = None):
    """Draw shape and word of a verdict.

    verdict: "conforms", "does_not_conform", "not_proven", "stale", "skipped", None (not
    measured), or an enum with such a value. deviation: signed, beyond the nearer limit,
    in any unit; its sign chooses the triangle. kind: "gap" or "flush" for the words of
    the trade.
    """
    key = states.key_of(verdict, deviation) or states.NOT_MEASURED
    return _told("verdict", states.VERDICTS[key], states.word(key, kind))


@register.simple_tag
def state_word(key: str, kind: str | None = None) -> str:
    """The word of a verdict, without its shape."""
    return states.word(key, kind)


@register.simple_tag
def cure_mark(state):
    """Draw shape and word of a cure, or of one thing that a recipe asks of it: "met",
    "not_met" or "open"."""
    row = states.CURES[getattr(state, "value", state)]
    return _told("verdict", row, row.word)


def _told(name: str, row: states.State, word):
    return format_html(
        '<span class="{}">{}<span>{}</span></span>', name, icons.svg(row), word
    )


@register.simple_tag
def state_mark(state, label=None):
    """Draw shape and word of a state of a record; `label` replaces the plain word."""
    row, word = states.of_record(state)
    return _told("state", row, label or word)


@register.inclusion_tag("shop/sections/paging.html", takes_context=True)
def pages(context, page):
    """Draw the way through a paginated list; `page` is a django.core.paginator.Page.

    The filter in the address is kept and only `page` changes.
    """
    return {"page": page, "request": context.get("request")}
