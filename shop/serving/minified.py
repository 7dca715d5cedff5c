"""Our own JavaScript as it is served: a tablet on thin Wi-Fi needs neither the comments
nor the long names. The tablet's tests run on what comes out."""

import itertools
import re
import string

try:
    import minify
except ImportError:  # no wheel for this machine: the scripts go out as written
    minify = None

# What a module declares for itself begins a line of its source.
OWN = re.compile(r"^(?:async )?(?:function\*?|class|const|let) (\w{3,})\b", re.M)
IN_CODE = re.compile(r"""("(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')|[`{}]""", re.S)
IN_TEMPLATE = re.compile(r"((?:[^`\\$]|\\.|\$(?!\{))*)(?:`|\$\{)", re.S)
WORD = re.compile(r"[A-Za-z_$][\w$]*")


def minify_script(source: str) -> str:
    """The same module, shorter where the library is there."""
    if not minify:
        return source
    return _own_names_short(minify.string("text/javascript", source), source)


def _own_names_short(lean_source: str, source: str) -> str:
    """What a module declares for itself alone has a short name too: the library leaves
    such names, since it does not know of a module that it is one."""
    taken = set(WORD.findall(lean_source))
    letters = string.ascii_letters
    short = itertools.chain(letters, map("".join, itertools.product(letters, letters)))
    short = (name for name in short if name not in taken)
    for name in OWN.findall(source):
        if _is_name_alone(name, lean_source):
            word = rf"(?<![\w$]){name}(?![\w$])"
            lean_source = re.sub(word, next(short), lean_source)
    return lean_source


def _is_name_alone(name: str, lean_source: str) -> bool:
    """Whether it is no text, property or method anywhere, so that all of it is the name
    of one thing."""
    if any(re.search(rf"\b{name}\b", text) for text in _texts(lean_source)):
        return False
    return not re.search(
        rf"(?<!\.\.)\.{name}\b|\b{name}:|\b{name} as\b|[{{,]{name}[,}}]"
        rf"|(?<!function )(?<!function\* )\b{name}\([^()]*\)\{{",
        lean_source,
    )


def _texts(lean_source: str):
    """What stands in quotes and in templates, but not the code inside of these."""
    inside, at = [], 0
    while match := (IN_TEMPLATE if inside[-1:] == ["`"] else IN_CODE).search(
        lean_source, at
    ):
        text = match[1] or ""
        yield text
        mark, at = match[0].removeprefix(text), match.end()
        if inside and (mark == "}" or mark == inside[-1] == "`"):
            inside.pop()
        elif mark:
            inside.append(mark)
    if inside:
        yield lean_source  # Not understood: all of it may be text.
