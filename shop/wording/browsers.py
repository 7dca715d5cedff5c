"""What a browser says of itself, in words by which its owner knows the device."""

# What a browser names last counts least: most of them also name those they resemble.
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("iPad", "iPad"),
    ("iPhone", "iPhone"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("CrOS", "Chrome OS"),
    ("Mac OS X", "macOS"),
    ("Linux", "Linux"),
)
UNKNOWN = "an unknown browser"


def words_of(agent: str) -> str:
    """Return "Firefox on Windows" of the header that a browser sends."""
    browser = _first(BROWSERS, agent) or UNKNOWN
    system = _first(SYSTEMS, agent)
    return f"{browser} on {system}" if system else browser


def _first(table, agent: str) -> str:
    return next((word for sign, word in table if sign in agent), "")
