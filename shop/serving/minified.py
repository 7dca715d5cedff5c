"""Our own JavaScript as it is served: a tablet on thin Wi-Fi needs neither the comments
nor the long names. The tablet's tests run on what comes out."""

try:
    import minify
except ImportError:  # no wheel for this machine: the scripts go out as written
    minify = None


def lean(source: str) -> str:
    """The same module, shorter where the library is there."""
    return minify.string("text/javascript", source) if minify else source
