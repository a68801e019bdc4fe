"""What a department sets itself for its drills: time for each stage, and grades only if it wants any."""

from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import BaseModel, ConfigDict, Field, NonNegativeFloat, NonNegativeInt, PositiveFloat


@dataclass(frozen=True, slots=True)
class Grade:
    """One grade: it is reached when every limit that is named holds. Without grades nobody is graded."""

    name: str
    most_order_faults: NonNegativeInt | None = None
    most_refused: NonNegativeInt | None = None
    most_missed_calls: NonNegativeInt | None = None
    """Roll calls and person checks that were not answered."""
    most_late_answers: NonNegativeInt | None = None
    """Injects not answered in time, or not at all."""
    longest_min: NonNegativeFloat | None = None


class Targets(BaseModel):
    """The department's own scoring rules."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    stage_min: Mapping[str, PositiveFloat] = Field(default_factory=dict)
    """Minutes wanted for a stage, by its id in the procedure."""
    grade: tuple[Grade, ...] = ()
    """Best first; the first that is reached is named."""

    @property
    def stage_ms(self) -> tuple[tuple[str, int], ...]:
        """Stage and milliseconds."""
        return tuple(sorted((stage, round(minutes * 60_000)) for stage, minutes in self.stage_min.items()))
