"""Scenarios from files: the shipped ones by name, a department's own by path."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

from assistant.errors import ProcedureError, ScenarioError
from assistant.journal import KeptScenario
from assistant.library import Source, load_site, make_book, read_text, refuse_endless, source_for
from protocol.errors import ProtocolError
from protocol.scenario import Scenario, check_against, read_scenario
from protocol.scene import Book
from protocol.site import Site

ENDING = ".toml"
SLOWEST, FASTEST = 1.0, 60.0
"""Pace of the simulated vacuum."""
LONGEST_LOOK = 200_000
"""So many bytes are looked through to tell a scenario from a procedure."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """A checked scenario, with everything that it runs on."""

    scenario: Scenario
    source: Source
    book: Book
    site: Site | None
    text: str
    """As it was read, for the record."""
    name: str
    """What its file is called."""

    def kept(self, pace: float | None = None) -> KeptScenario:
        """What goes into the record, so that the drill can go on after a stop.

        Args:
            pace: of the simulated vacuum, when it is not the scenario's own.
        """
        return KeptScenario(self.name, self.text, self.scenario.scenario.pace if pace is None else pace)


def shipped() -> tuple[str, ...]:
    """Names of the scenarios that come with the program."""
    folder = files("assistant") / "scenarios"
    return tuple(sorted(entry.name.removesuffix(ENDING) for entry in folder.iterdir() if entry.name.endswith(ENDING)))


def every_shipped() -> Iterator[Scenario]:
    """The scenarios that come with the program."""
    for name in shipped():
        yield read_scenario(_text_of(name)[0], name)


def load_scenario(name: str, procedure: Path | None = None, card: Path | None = None) -> Loaded:
    """A scenario by its name or its file.

    Args:
        name: a shipped one's name, or a path.
        procedure: a department's procedure in place of the shipped one.
        card: a site card in place of the scenario's own.

    Raises:
        ScenarioError: with file, line and reason.
        ProcedureError: if the procedure or the site card is wrong.
    """
    text, where = _text_of(name)
    label = where.name if where else f"{name}{ENDING}"
    try:
        scenario = read_scenario(text, label)
        site = _site_of(scenario, card, where)
        plain = source_for(procedure, site)
        source = replace(plain, house=scenario.house(site))
        book = make_book(source)
        check_against(scenario, book.procedure, text, label)
    except ProtocolError as error:
        raise ScenarioError(str(error)) from error
    return Loaded(scenario, source, book, site, text, label)


def kept_scenario(kept: KeptScenario, book: Book) -> Scenario:
    """The scenario that a record holds, on the procedure and house rules of that record.

    Raises:
        ScenarioError: if today's program cannot use it.
    """
    try:
        refuse_endless(kept.text, kept.name)
        scenario = read_scenario(kept.text, kept.name)
        check_against(scenario, book.procedure, kept.text, kept.name)
    except (ProtocolError, ProcedureError) as error:
        raise ScenarioError(f"The scenario in the record cannot be used. {error}") from error
    if not SLOWEST <= kept.pace <= FASTEST:
        raise ScenarioError(f"The scenario in the record cannot be used: pace {kept.pace:g}.")
    return scenario


def is_scenario(path: Path) -> bool:
    """Whether that is a shipped scenario's name, or a file that holds one."""
    if path.name in shipped() and not path.exists():
        return True
    return path.is_file() and b"[scenario]" in path.read_bytes()[:LONGEST_LOOK]


def _text_of(name: str) -> tuple[str, Path | None]:
    if name in shipped():
        return (files("assistant") / "scenarios" / f"{name}{ENDING}").read_text(encoding="utf-8"), None
    path = Path(name)
    if not path.exists() and path.suffix != ENDING:
        raise ScenarioError(f"There is no scenario '{name}'. Shipped: {', '.join(shipped())}; or name a file.")
    try:
        return read_text(path), path
    except ProcedureError as error:
        raise ScenarioError(str(error)) from error


def _site_of(scenario: Scenario, card: Path | None, where: Path | None) -> Site | None:
    if card is None and scenario.card is not None:
        if where is None or Path(scenario.card).name != scenario.card:
            raise ScenarioError(f"card = '{scenario.card}': give the name of a file beside the scenario.")
        card = where.with_name(scenario.card)
    return load_site(card) if card else scenario.site
