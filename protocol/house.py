"""What a department decides for itself: intervals, counts, equipment. Each interval is a house rule, not law."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from protocol.names import MAX_TENDERS, LineTag, PersonName

Minutes = float
MAX_PLANNED = 9
"""As many rescuers as have a number."""
MOST_NAMES = 40


class PlannedLine(BaseModel):
    """The lifeline that a rescuer is meant to be on. A plan: what counts is what is recorded when they go in."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    slot: int = Field(ge=1, le=MAX_PLANNED)
    line: LineTag = ""
    tenders: tuple[PersonName, ...] = Field(default=(), max_length=MAX_TENDERS)


class House(BaseModel):
    """House rules and equipment; the defaults stand until a site card says otherwise."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    units: Literal["us", "metric"] = "us"
    person_language: Literal["en", "es"] = "en"
    """Language in which the person is spoken to."""
    panels: int = Field(default=4, ge=3, le=12)
    """Panels in the ring."""
    panel_width_m: float = Field(default=0.6096, gt=0.1, le=2.0)
    """Two feet: common practice, no source."""
    panel_length_m: float = Field(default=1.524, gt=0.5, le=3.0)
    """Five feet: common practice, no source."""
    rescuers: int = Field(default=2, ge=1, le=4)
    """Rescuers who work inside: common practice, no source."""
    planned_lines: tuple[PlannedLine, ...] = Field(default=(), max_length=MAX_PLANNED)
    """From the site card; the board's forms begin with them."""
    tender_names: tuple[PersonName, ...] = Field(default=(), max_length=MOST_NAMES)
    """Tenders named on the site card."""
    canister_gal: float = Field(default=16.0, gt=0.5, le=500.0)
    """Vacuum drum, US gallons."""
    person_height_m: tuple[float, float] = (1.60, 1.90)
    """Range assumed until somebody says better."""
    person_mass_kg: tuple[float, float] = (60.0, 110.0)
    """Range assumed until somebody says better."""
    roll_call_min: Minutes = Field(default=15.0, gt=0, le=120)
    """House rule; three local policies read 15, 30 and 30 min. No universal number exists."""
    person_check_min: Minutes = Field(default=3.0, gt=0, le=60)
    """House rule; common practice, no source."""
    work_period_min: Minutes = Field(default=20.0, gt=0, le=120)
    """House rule after NFPA 1584 (2007 draft summary): rest after 20 min of work."""
    air_max_age_min: Minutes = Field(default=10.0, gt=0, le=120)
    """House rule; OSHA 1910.146 names no interval: re-test as needed, continuous where practicable."""
    quiet_min: Minutes = Field(default=4.0, gt=0, le=60)
    """House rule: after so long without a word the step is said again."""
    elapsed_call_min: Minutes = Field(default=15.0, gt=0, le=120)
    """House rule; a local policy citing NJAC 5:75-2.10 calls elapsed time every 15 min."""
    hanging_min: Minutes = Field(default=10.0, gt=0, le=60)
    """UK HSE: a fifth faint within 10 min of motionless upright suspension."""
    held_flag_min: Minutes = Field(default=60.0, gt=0, le=600)
    """Joint Trauma System guideline: crush syndrome from as little as one hour; tell the medics before release."""
    readback_s: float = Field(default=20.0, gt=2, le=60)
    """House rule: a read-back that nobody affirms lapses."""
