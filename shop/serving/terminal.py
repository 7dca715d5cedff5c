"""What the server tells whoever started it."""

from shop.paper.qr import matrix as qr_matrix

# Light margin around the code: ISO/IEC 18004 asks for four modules.
QUIET = 4
BLACK_ON_WHITE, PLAIN = "\x1b[30;107m", "\x1b[0m"
# Upper and lower module of one character cell, dark being 1.
CELLS = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


def qr_lines(text: str, *, colors: bool) -> list[str]:
    """The code as lines of half blocks, two modules a character.

    Without colors the light modules are drawn, since most terminals are dark.
    """
    matrix = qr_matrix(text)
    size = len(matrix) + 2 * QUIET
    margin = [[False] * size for _ in range(QUIET)]
    side = [False] * QUIET
    rows = [*margin, *([*side, *row, *side] for row in matrix), *margin]
    if len(rows) % 2:
        rows.append([False] * size)
    drawn = []
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        cells = zip(upper, lower, strict=True)
        line = "".join(CELLS[a == colors, b == colors] for a, b in cells)
        drawn.append(f"{BLACK_ON_WHITE}{line}{PLAIN}" if colors else line)
    return drawn


def can_show(stream, text: str) -> bool:
    try:
        text.encode(getattr(stream, "encoding", None) or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host
