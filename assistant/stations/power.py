"""How full this machine's battery is, where the system says so."""

from pathlib import Path

SUPPLIES = Path("/sys/class/power_supply")


def battery_percent(folder: Path = SUPPLIES) -> int | None:
    """The least full battery in percent; None without one."""
    found = []
    for supply in sorted(folder.glob("*")):
        try:
            if (supply / "type").read_text(encoding="ascii").strip() == "Battery":
                found.append(int((supply / "capacity").read_text(encoding="ascii")))
        except (OSError, ValueError):
            continue  # a supply that does not say
    return min((min(100, max(0, percent)) for percent in found), default=None)
