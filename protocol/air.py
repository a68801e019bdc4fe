"""Gas limits as rows, and the judgement of a reading: good, caution, bad; too old is stale, never taken is unread.

Nothing here says that air is safe. A reading is what one meter said at one place and time.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from protocol.errors import TableError


class Gas(StrEnum):
    """Gases that are asked for, in the order of testing: oxygen, flammable, toxic.

    Order: OSHA 29 CFR 1910.146(d)(5)(iii).
    """

    OXYGEN = "oxygen"
    FLAMMABLE = "flammable_gas"
    CARBON_MONOXIDE = "carbon_monoxide"
    HYDROGEN_SULFIDE = "hydrogen_sulfide"
    PHOSPHINE = "phosphine"
    CARBON_DIOXIDE = "carbon_dioxide"
    NITROGEN_DIOXIDE = "nitrogen_dioxide"

    @property
    def spoken(self) -> str:
        """The words for it."""
        return self.value.replace("_", " ")


class Verdict(StrEnum):
    """What a reading is worth now."""

    GOOD = "good"
    CAUTION = "caution"
    BAD = "bad"
    STALE = "stale"
    UNREAD = "unread"


class Crossing(StrEnum):
    """How a limit is crossed."""

    BELOW = "below"
    ABOVE = "above"
    AT_OR_ABOVE = "at_or_above"


@dataclass(frozen=True, slots=True)
class Limit:
    """One published limit."""

    gas: Gas
    crossing: Crossing
    value: Decimal
    unit: str
    verdict: Verdict
    """BAD: leave. CAUTION: go on, and know it."""
    name: str
    """As it is spoken and shown."""
    source: str


@dataclass(frozen=True, slots=True)
class GasRange:
    """What a meter can show for a gas; anything else was misheard or is in another unit."""

    gas: Gas
    unit: str
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Reading:
    """What one meter said."""

    gas: Gas
    value: Decimal
    place: str
    """hatch or person."""
    at_ms: int


def _limit(gas: Gas, crossing: Crossing, value: str, verdict: Verdict, name: str, source: str) -> Limit:
    return Limit(gas, crossing, Decimal(value), _UNITS[gas], verdict, name, source)


_UNITS = {
    Gas.OXYGEN: "percent",
    Gas.FLAMMABLE: "percent of the lower limit",
    Gas.CARBON_MONOXIDE: "parts per million",
    Gas.HYDROGEN_SULFIDE: "parts per million",
    Gas.PHOSPHINE: "parts per million",
    Gas.CARBON_DIOXIDE: "parts per million",
    Gas.NITROGEN_DIOXIDE: "parts per million",
}
_HAZARD = "OSHA 29 CFR 1910.146(b), hazardous atmosphere"
_AEGL = "EPA/NRC AEGL for metal phosphides"

LIMITS: tuple[Limit, ...] = (
    _limit(Gas.OXYGEN, Crossing.BELOW, "19.5", Verdict.BAD, "oxygen too low", _HAZARD),
    _limit(Gas.OXYGEN, Crossing.ABOVE, "23.5", Verdict.BAD, "oxygen too high, fire risk", _HAZARD),
    _limit(Gas.FLAMMABLE, Crossing.ABOVE, "10", Verdict.BAD, "flammable gas over ten percent of the limit", _HAZARD),
    _limit(Gas.CARBON_MONOXIDE, Crossing.ABOVE, "35", Verdict.CAUTION, "over the recommended limit",
           "NIOSH REL, IDLH document 630-08-0"),
    _limit(Gas.CARBON_MONOXIDE, Crossing.ABOVE, "50", Verdict.BAD, "over the permitted limit",
           "OSHA PEL, NIOSH IDLH document 630-08-0"),
    _limit(Gas.CARBON_MONOXIDE, Crossing.AT_OR_ABOVE, "200", Verdict.BAD, "over the ceiling",
           "NIOSH REL ceiling, IDLH document 630-08-0"),
    _limit(Gas.CARBON_MONOXIDE, Crossing.AT_OR_ABOVE, "1200", Verdict.BAD, "immediately dangerous to life",
           "NIOSH IDLH document 630-08-0"),
    _limit(Gas.HYDROGEN_SULFIDE, Crossing.AT_OR_ABOVE, "10", Verdict.BAD, "over the recommended ceiling",
           "NIOSH REL 10-minute ceiling, IDLH document 7783-06-4"),
    _limit(Gas.HYDROGEN_SULFIDE, Crossing.AT_OR_ABOVE, "20", Verdict.BAD, "over the permitted ceiling",
           "OSHA Table Z-2 ceiling"),
    _limit(Gas.HYDROGEN_SULFIDE, Crossing.AT_OR_ABOVE, "50", Verdict.BAD, "over the permitted peak",
           "OSHA Table Z-2 peak, 10 minutes once"),
    _limit(Gas.HYDROGEN_SULFIDE, Crossing.AT_OR_ABOVE, "100", Verdict.BAD, "immediately dangerous to life",
           "NIOSH IDLH document 7783-06-4"),
    _limit(Gas.PHOSPHINE, Crossing.ABOVE, "0.3", Verdict.BAD, "over the permitted limit",
           "OSHA PEL and NIOSH REL, Pocket Guide npgd0505"),
    _limit(Gas.PHOSPHINE, Crossing.AT_OR_ABOVE, "1", Verdict.BAD, "over the short-term limit",
           "NIOSH STEL, Pocket Guide npgd0505"),
    _limit(Gas.PHOSPHINE, Crossing.AT_OR_ABOVE, "3.6", Verdict.BAD, "life-threatening within minutes",
           f"{_AEGL}: AEGL-3, 10 and 30 min"),
    _limit(Gas.PHOSPHINE, Crossing.AT_OR_ABOVE, "50", Verdict.BAD, "immediately dangerous to life",
           "NIOSH IDLH document 7803-51-2; far above AEGL-3, never a level to stay at"),
    _limit(Gas.CARBON_DIOXIDE, Crossing.ABOVE, "5000", Verdict.BAD, "over the permitted limit",
           "OSHA PEL, NIOSH IDLH document 124-38-9"),
    _limit(Gas.CARBON_DIOXIDE, Crossing.AT_OR_ABOVE, "30000", Verdict.BAD, "over the short-term limit",
           "NIOSH STEL, IDLH document 124-38-9"),
    _limit(Gas.CARBON_DIOXIDE, Crossing.AT_OR_ABOVE, "40000", Verdict.BAD, "immediately dangerous to life",
           "NIOSH IDLH document 124-38-9"),
    _limit(Gas.NITROGEN_DIOXIDE, Crossing.AT_OR_ABOVE, "1", Verdict.BAD, "over the short-term limit",
           "NIOSH REL STEL, IDLH document 10102-44-0"),
    _limit(Gas.NITROGEN_DIOXIDE, Crossing.AT_OR_ABOVE, "5", Verdict.BAD, "over the permitted ceiling",
           "OSHA PEL ceiling"),
    _limit(Gas.NITROGEN_DIOXIDE, Crossing.AT_OR_ABOVE, "13", Verdict.BAD, "immediately dangerous to life",
           "NIOSH 2017 profile; the 1994 list says 20, the lower is used"),
)  # fmt: skip
"""Every limit; for one gas and direction the last one crossed is the worst."""

RANGES: tuple[GasRange, ...] = (
    GasRange(Gas.OXYGEN, "percent", Decimal(0), Decimal(30)),
    GasRange(Gas.FLAMMABLE, "percent of the lower limit", Decimal(0), Decimal(100)),
    GasRange(Gas.CARBON_MONOXIDE, "parts per million", Decimal(0), Decimal(5000)),
    GasRange(Gas.HYDROGEN_SULFIDE, "parts per million", Decimal(0), Decimal(1000)),
    GasRange(Gas.PHOSPHINE, "parts per million", Decimal(0), Decimal(2000)),
    GasRange(Gas.CARBON_DIOXIDE, "parts per million", Decimal(0), Decimal(100000)),
    GasRange(Gas.NITROGEN_DIOXIDE, "parts per million", Decimal(0), Decimal(500)),
)
"""Display ranges of common meters: from memory, no source."""

ALWAYS_REQUIRED = (Gas.OXYGEN, Gas.FLAMMABLE, Gas.CARBON_MONOXIDE, Gas.HYDROGEN_SULFIDE)
"""A four-gas meter; phosphine is added unless the bin is known not to be fumigated."""


def required_gases(fumigated: str) -> tuple[Gas, ...]:
    """Gases that must be read before entry: unknown fumigation is treated as yes."""
    return ALWAYS_REQUIRED if fumigated == "no" else (*ALWAYS_REQUIRED, Gas.PHOSPHINE)


def range_of(gas: Gas) -> GasRange:
    """The row of a gas."""
    for row in RANGES:
        if row.gas is gas:
            return row
    raise TableError(f"No display range for {gas.spoken}.")


def believable(gas: Gas, value: Decimal) -> bool:
    """Whether a meter can show that value."""
    row = range_of(gas)
    return value.is_finite() and not value.is_signed() and row.low <= value <= row.high


def crossed(gas: Gas, value: Decimal) -> tuple[Limit, ...]:
    """Every limit that the value crosses, in table order; an exact boundary value passes BELOW and ABOVE."""
    return tuple(limit for limit in LIMITS if limit.gas is gas and _is_crossed(limit, value))


def judge(gas: Gas, value: Decimal) -> Verdict:
    """Good, caution or bad, whatever its age."""
    verdicts = {limit.verdict for limit in crossed(gas, value)}
    if Verdict.BAD in verdicts:
        return Verdict.BAD
    return Verdict.CAUTION if Verdict.CAUTION in verdicts else Verdict.GOOD


def worst(gas: Gas, value: Decimal) -> Limit | None:
    """The worst limit crossed, or None."""
    limits = crossed(gas, value)
    return limits[-1] if limits else None


def verdict_at(reading: Reading | None, at_ms: int, max_age_ms: int) -> Verdict:
    """What a reading is worth at a time. Bad stays bad however old; good is stale once `max_age_ms` old."""
    if reading is None:
        return Verdict.UNREAD
    verdict = judge(reading.gas, reading.value)
    if verdict is Verdict.BAD:
        return verdict
    return Verdict.STALE if at_ms - reading.at_ms >= max_age_ms else verdict


def latest(readings: Iterable[Reading], gas: Gas, place: str | None = None) -> Reading | None:
    """The newest reading of a gas, at one place or anywhere; of two at the same moment the later in the list."""
    found = [row for row in readings if row.gas is gas and (place is None or row.place == place)]
    return max(reversed(found), key=lambda row: row.at_ms) if found else None


def standing_bad(readings: Iterable[Reading], gas: Gas | None = None) -> Reading | None:
    """A bad reading that no newer one of the same gas at the same place has replaced, or None."""
    newest = {(row.gas, row.place): row for row in sorted(readings, key=lambda row: row.at_ms)}
    bad = [row for row in newest.values() if gas in {None, row.gas} and judge(row.gas, row.value) is Verdict.BAD]
    return bad[0] if bad else None


def unread(readings: Iterable[Reading]) -> tuple[Gas, ...]:
    """Gases nobody has read at all, in order of testing."""
    taken = {row.gas for row in readings}
    return tuple(gas for gas in Gas if gas not in taken)


def _is_crossed(limit: Limit, value: Decimal) -> bool:
    if limit.crossing is Crossing.BELOW:
        return value < limit.value
    return value > limit.value if limit.crossing is Crossing.ABOVE else value >= limit.value
