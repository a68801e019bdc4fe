"""How old the readings are that a step leans on."""

from protocol.air import Gas, Reading, latest, required_gases
from protocol.guards import AIR_CURRENT
from protocol.score.facts import AirAge

READ_AT = {AIR_CURRENT: None, "air_good_at_hatch": "hatch", "air_good_at_person": "person"}
"""Guards that look at the air, and where."""


class AirLog:
    """Readings on record, and whether the grain was fumigated."""

    def __init__(self) -> None:
        self._readings: tuple[Reading, ...] = ()
        self._fumigated = "unknown"
        self._moments: dict[tuple[str, int], tuple[tuple[Reading, ...], str]] = {}

    def learned(self, fact: str, value: str) -> None:
        """A fact; only fumigation matters here."""
        if fact == "fumigated":
            self._fumigated = value

    def read(self, reading: Reading) -> str:
        """A reading goes on record; gives what was wrong with its order, if anything.

        Order: OSHA 29 CFR 1910.146(d)(5)(iii), oxygen, then flammable, then toxic.
        """
        order = list(Gas)
        before = order[: min(order.index(reading.gas), 2)]
        missing = [gas.spoken for gas in before if latest(self._readings, gas, reading.place) is None]
        self._readings = (*self._readings, reading)
        return f"{reading.gas.spoken} before {missing[0]} at the {reading.place}" if missing else ""

    def taken_back(self) -> None:
        """The last reading was wrong."""
        self._readings = self._readings[:-1]

    def entered(self, step: str, at_ms: int) -> None:
        """Remember how it stood when a step was entered."""
        self._moments[step, at_ms] = (self._readings, self._fumigated)

    def put_back(self, step: str, moment_ms: int, at_ms: int) -> None:
        """The drill was put back: readings are as old as they were then."""
        readings, self._fumigated = self._moments.get((step, moment_ms), ((), "unknown"))
        by_ms = at_ms - moment_ms
        self._readings = tuple(Reading(row.gas, row.value, row.place, row.at_ms + by_ms) for row in readings)

    def age(self, at_ms: int, step: str, guards: tuple[str, ...]) -> AirAge | None:
        """The oldest reading that the step leaned on, or None when it needs no air."""
        places = [READ_AT[name] for name in guards if name in READ_AT]
        if not places:
            return None
        found: list[Reading] = []
        unread: list[Gas] = []
        for gas in required_gases(self._fumigated):
            newest = [latest(self._readings, gas, place) for place in places]
            found.extend(row for row in newest if row is not None)
            unread.extend([gas] if None in newest else [])
        if not found:
            return AirAge(at_ms, step, None, None, tuple(unread))
        oldest = min(found, key=_taken)
        return AirAge(at_ms, step, at_ms - oldest.at_ms, oldest.gas, tuple(unread))


def _taken(reading: Reading) -> int:
    return reading.at_ms
