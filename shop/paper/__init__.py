"""Paper: fonts, text that fits, title block, numbered pages. Draws; never queries.

`pdf` turns page-drawing functions into bytes; `sheets` flows blocks over numbered
pages with a title block.
The same input gives the same bytes on the same pinned environment, whatever the time
zone or hash seed.
"""

from shop.numeric.paper_sizes import PAPERS, Paper
from shop.paper.flow import Block, gap, heading, paragraph
from shop.paper.page import pdf
from shop.paper.sheet import TitleBlock, sheets
from shop.paper.tables import Column, table

__all__ = [
    "PAPERS",
    "Block",
    "Column",
    "Paper",
    "TitleBlock",
    "gap",
    "heading",
    "paragraph",
    "pdf",
    "sheets",
    "table",
]
