"""Moments as a reader wants them: local time, and minutes since the start."""

from datetime import UTC, datetime, timedelta, tzinfo

MINUTE_MS = 60_000
UNKNOWN = "not known"


def opened_at(text: str) -> datetime | None:
    """The wall time of zero as the header gives it; None when that is no time."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def local_time(opened: datetime | None, at_ms: int, zone: tzinfo | None = None) -> str:
    """Time of day with seconds: "14:05:33"; "not known" when the record does not say when it began."""
    moment = _moment(opened, at_ms, zone)
    return f"{moment:%H:%M:%S}" if moment else UNKNOWN


def local_day(opened: datetime | None, at_ms: int, zone: tzinfo | None = None) -> str:
    """Day and time with the offset from UTC: "25 November 2026, 14:05:33 (UTC-06:00)"."""
    moment = _moment(opened, at_ms, zone)
    if moment is None:
        return UNKNOWN
    offset = f"{moment:%z}"
    return f"{moment.day} {moment:%B %Y, %H:%M:%S} (UTC{offset[:3]}:{offset[3:5]})"


def minutes(at_ms: int) -> str:
    """Minutes since the start to a tenth: "12.4"."""
    return f"{at_ms / MINUTE_MS:.1f}"


def length(duration_ms: int) -> str:
    """A stretch of time: "45 s", "3 min 20 s", "2 h 05 min"."""
    seconds = round(duration_ms / 1000)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02d} s"
    whole = round(seconds / 60)
    return f"{whole // 60} h {whole % 60:02d} min"


def _moment(opened: datetime | None, at_ms: int, zone: tzinfo | None) -> datetime | None:
    if opened is None:
        return None
    try:
        return (opened + timedelta(milliseconds=at_ms)).astimezone(zone)
    except (OverflowError, ValueError, OSError):
        return None


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun: "1 level", "3 levels", "2 stays"."""
    return f"{number} {one if number == 1 else many or f'{one}s'}"
