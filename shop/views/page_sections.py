"""Panels that another package adds to a page of the shop (qa does, at its start).

A panel is a callable (request, subject) -> (template, context) or None.
"""

from collections.abc import Callable

from django.template.loader import render_to_string

Panels = list[Callable]


def draw(panels: Panels, request, subject) -> list[str]:
    """Draw each panel with its own context."""
    drawn = (panel(request, subject) for panel in panels)
    return [render_to_string(*section, request=request) for section in drawn if section]
