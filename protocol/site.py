"""The site card: what a department fills in before the season.

Bins, panels, vacuums, meters, crew, its own intervals, and its own words for a step.
"""

import tomllib
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from protocol.errors import TableError
from protocol.estimates.grain import GrainName
from protocol.house import MAX_PLANNED, MOST_NAMES, House, PlannedLine
from protocol.lines import HOLD_A_LINE
from protocol.names import MAX_TENDERS, LineTag, PersonName
from protocol.numbers import count_words
from protocol.person_lines import SPANISH_REVIEWED
from protocol.procedure import Identifier, SpokenPhrase, line_of
from protocol.targets import Targets
from protocol.units import FOOT_M, INCH_M

Name = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
MAX_SITE_CHARS = 200_000


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Department(_Row):
    """Whose card it is."""

    name: Name
    units: Literal["us", "metric"] = "us"
    person_language: Literal["en", "es"] = "en"
    """Language in which the person is spoken to first."""


class Bin(_Row):
    """One bin."""

    name: Name
    diameter_ft: float = Field(gt=3, le=200)
    eave_ft: float = Field(gt=3, le=200)
    grain: GrainName = GrainName.UNKNOWN
    anchor_rated: bool = False
    """Older bins have no rated anchor: false until somebody has checked."""
    anchor_above_grain_ft: float | None = Field(default=None, gt=0, le=190)
    """Height of the anchor over the grain surface."""
    fan: bool = True
    airflow_cfm: float | None = Field(default=None, gt=0, le=1_000_000)
    """Clean air that a fan or blower brings into the head space."""
    grain_depth_ft: float | None = Field(default=None, gt=0, le=250)
    """Depth of grain at the wall."""
    auger_bu_h: float | None = Field(default=None, gt=0, le=100_000)
    """Unloading rate as stated."""
    noise_dba: float | None = Field(default=None, ge=40, le=150)
    """Measured where the rescuers will work, fans and vacuum on."""


class PanelKit(_Row):
    """A set of equal panels."""

    count: int = Field(ge=1, le=24)
    width_in: float = Field(gt=6, le=60)
    length_ft: float = Field(gt=2, le=10)


class Vacuum(_Row):
    """A vacuum and its drum."""

    name: Name
    canister_gal: float = Field(gt=0.5, le=500)


class Meter(_Row):
    """A gas meter and what it reads."""

    name: Name
    gases: tuple[Identifier, ...] = Field(min_length=1)


class Member(_Row):
    """One of the crew."""

    name: Name
    role: Literal["rescuer", "tender", "safety officer", "medic", "commander"]
    """Rescuers are numbered in the order in which the card lists them: the first is rescuer one."""
    line: LineTag = ""
    """A rescuer's lifeline, as on its tag. Two may share one, where the second relieves the first."""
    tenders: tuple[PersonName, ...] = Field(default=(), max_length=MAX_TENDERS)
    """Who are to hold that line."""

    @model_validator(mode="after")
    def _only_rescuers_go_in(self) -> "Member":
        if self.role != "rescuer" and (self.line or self.tenders):
            raise ValueError(f"{self.name} is {self.role}: only a rescuer has a line and tenders")
        return self


class Wording(_Row):
    """The department's own words for a step, in place of the shipped ones."""

    step: Identifier
    say: tuple[SpokenPhrase, ...] = Field(min_length=1)


class Site(_Row):
    """The whole card."""

    department: Department
    bin: tuple[Bin, ...] = ()
    panels: tuple[PanelKit, ...] = ()
    vacuum: tuple[Vacuum, ...] = ()
    meter: tuple[Meter, ...] = ()
    crew: tuple[Member, ...] = ()
    house: Mapping[str, float] = Field(default_factory=dict)
    """House intervals by their name in `protocol.house`."""
    wording: tuple[Wording, ...] = ()
    scoring: Targets = Targets()
    """The department's own times and grades for drills; a scenario's own come first."""

    @property
    def words(self) -> dict[str, tuple[str, ...]]:
        """The department's own phrases by step."""
        return {row.step: row.say for row in self.wording}

    @property
    def planned_lines(self) -> tuple[PlannedLine, ...]:
        """Line and tenders of each rescuer who has any, by number."""
        rescuers = [member for member in self.crew if member.role == "rescuer"][:MAX_PLANNED]
        return tuple(
            PlannedLine(slot=slot, line=one.line, tenders=one.tenders)
            for slot, one in enumerate(rescuers, start=1) if one.line or one.tenders
        )  # fmt: skip

    @property
    def tender_names(self) -> tuple[str, ...]:
        """The card's tenders, as many as a board can offer."""
        return tuple(one.name for one in self.crew if one.role == "tender" and one.name.isprintable())[:MOST_NAMES]

    def house_rules(self) -> House:
        """House rules with this card's equipment and intervals.

        Raises:
            TableError: if an interval is unknown or out of bounds.
        """
        department = self.department
        changes: dict[str, object] = {
            "units": department.units, "person_language": department.person_language, **self.house,
            "planned_lines": self.planned_lines,
            "tender_names": self.tender_names,
        }  # fmt: skip
        if self.panels:
            kit = self.panels[0]
            changes["panels"] = kit.count
            changes["panel_width_m"] = kit.width_in * INCH_M
            changes["panel_length_m"] = kit.length_ft * FOOT_M
        if self.vacuum:
            changes["canister_gal"] = self.vacuum[0].canister_gal
        try:
            return House.model_validate(changes)
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(part) for part in first["loc"])
            raise TableError(f"house rules: {place}: {first['msg']}.") from error


def read_site(text: str, name: str) -> Site:
    """Parse and check a card.

    Raises:
        TableError: with file, line and reason.
    """
    if len(text) > MAX_SITE_CHARS:
        raise TableError(f"{name}: longer than {MAX_SITE_CHARS} characters; a site card is not that long.")
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise TableError(f"{name}: not valid TOML: {error}.") from error
    try:
        return Site.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        place = [str(part) for part in first["loc"]]
        listed = len(place) >= 2 and place[1].isdigit()
        line = line_of(text, place[0], int(place[1]), place[2] if len(place) > 2 else None) if listed else 1
        raise TableError(f"{name}, line {line}: {'.'.join(place)}: {first['msg']}.") from error


def missing(site: Site) -> tuple[str, ...]:
    """What the card does not say and a crew will need, in plain words."""
    gaps = [
        (
            site.department.person_language == "es" and not SPANISH_REVIEWED,
            "the Spanish lines for the person have not been reviewed by a native speaker",
        ),
        (not site.bin, "no bin is listed"),
        (not site.panels, "no panels are listed: four of two by five feet are assumed"),
        (not site.vacuum, "no vacuum is listed: a 16-gallon drum is assumed"),
        (not site.meter, "no gas meter is listed"),
        (not any("phosphine" in meter.gases for meter in site.meter), "no meter reads phosphine"),
        (not any("carbon_dioxide" in meter.gases for meter in site.meter), "no meter reads carbon dioxide"),
        (sum(member.role == "rescuer" for member in site.crew) < 2, "fewer than two rescuers are named"),
        (len(_tenders(site)) < 4, "fewer than four tenders are named"),
        (not any(member.role == "safety officer" for member in site.crew), "no safety officer is named"),
    ]
    unrated = [f"{row.name}: no rated anchor" for row in site.bin if not row.anchor_rated]
    return tuple(text for absent, text in gaps if absent) + tuple(unrated) + _few_tenders(site)


def _tenders(site: Site) -> set[str]:
    """Everybody who is named as a tender, in the list or with a line."""
    listed = {one.name for one in site.crew if one.role == "tender"}
    return listed | {name for one in site.crew for name in one.tenders}


def _few_tenders(site: Site) -> tuple[str, ...]:
    """Rescuers whose line is planned with fewer tenders than hold one: UMaine Extension 2352; NASD 1144."""
    few = [one for one in site.crew if one.line and len(one.tenders) < HOLD_A_LINE]
    least = count_words(HOLD_A_LINE)
    return tuple(f"{one.name}, line {one.line}: fewer than {least} tenders are planned" for one in few)
