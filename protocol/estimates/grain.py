"""The grain: test weight, bulk density, angle of repose, size of kernel, as rows with a source for each number.

Test weights (lb/bu): USDA weights; canola and sunflower from a crop weight table; where tables disagree the row is a
range. Bulk density is the test weight converted, give or take BULK_SPREAD: soybeans measured 766 falling to 719 kg/m3
as they grow wetter (Int. Agrophysics 22(3) 2008) against 772 from the bushel weight.
Repose: `piling` spans the planning-service table and the USDA figures (both secondary); `emptying` is from ASAE/MWPS
handbook tables (from memory). Kernel sizes: corn 8 mm is the check value; the rest from memory.
Angles of friction: EN 1991-4:2006 Table E.1 (from memory) or soybeans measured 27.4 to 31.8 deg (same journal).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from protocol.errors import EstimateError
from protocol.estimates.result import Span
from protocol.units import POUND_PER_BUSHEL_KG_M3

BULK_SPREAD = (0.93, 1.06)
"""Loose or wet grain down to 7 % under its test weight, settled in a bin up to 6 % over it (upper end from memory)."""


class GrainName(StrEnum):
    """Grains with a row of their own; `unknown` spans them all."""

    CORN = "corn"
    SOYBEANS = "soybeans"
    WHEAT = "wheat"
    SORGHUM = "sorghum"
    BARLEY = "barley"
    OATS = "oats"
    RICE = "rough rice"
    CANOLA = "canola"
    SUNFLOWER = "sunflower"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Grain:
    """One kind of grain."""

    name: GrainName
    test_weight_lb_bu: Span
    repose_piling_deg: Span
    repose_emptying_deg: Span
    friction_deg: Span
    """Angle of internal friction."""
    kernel_mm: Span
    note: str = ""

    @property
    def spoken_name(self) -> str:
        """What to call it aloud."""
        return "grain" if self.name is GrainName.UNKNOWN else self.name.value

    @property
    def density_kg_m3(self) -> Span:
        """Bulk density with its range."""
        weight = self.test_weight_lb_bu.times(POUND_PER_BUSHEL_KG_M3)
        return Span(weight.value, weight.low * BULK_SPREAD[0], weight.high * BULK_SPREAD[1])

    @property
    def repose_deg(self) -> Span:
        """Repose for grain that slumps: from the flattest pile to the steepest drawn-down slope."""
        ends = (self.repose_piling_deg, self.repose_emptying_deg)
        low, high = min(end.low for end in ends), max(end.high for end in ends)
        return Span((self.repose_piling_deg.value + self.repose_emptying_deg.value) / 2, low, high)


SOURCE = "USDA test weights; planning-service and USDA repose tables; ASAE/MWPS handbook (emptying, from memory)"

_ROWS = (
    Grain(GrainName.CORN, Span.exact(56), Span(23, 20.4, 23), Span(27, 25, 29), Span(27, 23, 31), Span(8, 7, 9)),
    Grain(GrainName.SOYBEANS, Span.exact(60), Span(25, 23.9, 25), Span(29, 27, 31), Span(27, 25, 32), Span(6.5, 6, 8)),
    Grain(GrainName.WHEAT, Span.exact(60), Span(25, 22.2, 25), Span(27, 25, 29), Span(30, 27, 33), Span(4, 3, 5)),
    Grain(
        GrainName.SORGHUM, Span(56, 50, 56), Span(25, 20, 28), Span(33, 30, 35), Span(28, 25, 33), Span(4, 3.5, 4.5),
        "A machinery manual gives 50 lb/bu; no piling angle found.",
    ),
    Grain(GrainName.BARLEY, Span.exact(48), Span(28, 25, 28), Span(28, 26, 30), Span(28, 25, 31), Span(4.5, 3.5, 6)),
    Grain(
        GrainName.OATS, Span(32, 32, 34), Span(28, 25, 28), Span(32, 29, 34), Span(28, 25, 33), Span(5, 4, 7),
        "32 lb/bu in the US, 34 in Canada.",
    ),
    Grain(
        GrainName.RICE, Span.exact(45), Span(26, 20, 30), Span(36, 33, 38), Span(30, 26, 36), Span(4.5, 3.5, 6),
        "No piling angle found beyond the filling one.",
    ),
    Grain(
        GrainName.CANOLA, Span.exact(50), Span(24, 20, 28), Span(28, 24, 32), Span(27, 23, 32), Span(2, 1.5, 2.5),
        "No repose or friction angle found: the ranges span the other grains.",
    ),
    Grain(
        GrainName.SUNFLOWER, Span(28, 24, 32), Span(27, 24, 30), Span(30, 27, 34), Span(28, 24, 33), Span(7, 5, 10),
        "24 to 32 lb/bu by state; no emptying angle found.",
    ),
    Grain(
        GrainName.UNKNOWN, Span(56, 24, 60), Span(25, 20, 30), Span(29, 24, 38), Span(28, 23, 36), Span(6, 1.5, 10),
        "Not known which grain: the ranges span all rows.",
    ),
)  # fmt: skip

GRAINS: Mapping[GrainName, Grain] = MappingProxyType({row.name: row for row in _ROWS})


def grain_named(name: str) -> Grain:
    """The row for a grain by its name; "unknown" is a valid answer.

    Raises:
        EstimateError: for a name without a row.
    """
    try:
        return GRAINS[GrainName(name)]
    except ValueError:
        known = ", ".join(grain.value for grain in GrainName)
        raise EstimateError(f"'{name}' is not a grain known here: use one of {known}.") from None
