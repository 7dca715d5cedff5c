"""What a photo can show, and what is said under it."""

# Things beside a check that a tablet takes photos of: their pages show them.
PHOTOGRAPHED = ("part", "tool", "pull", "lot", "step", "nonconformance")


def station_note(label: str, kind: str) -> str:
    """What stands under a photo of a station; kind "" where it shows no one gap."""
    return f"station {label} {kind}".strip()
