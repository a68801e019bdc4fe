"""The table of sheets, in the order of the work."""

from protocol.house import House
from protocol.sheets import person, structure
from protocol.sheets.sheet import Gap, Line, Plan, SheetRow, each_bin, whole, worked_out
from protocol.site import Site

SHEETS: tuple[SheetRow, ...] = (
    SheetRow("ring", "Ring of panels", whole(person.ring)),
    SheetRow("plywood", "Plywood for the panels", whole(person.plywood)),
    SheetRow("volume", "Grain down to the knees, and from there to the feet", whole(person.volume)),
    SheetRow("canisters", "Canisters to carry out", whole(person.canisters)),
    SheetRow("mass", "Mass of that grain", whole(person.mass)),
    SheetRow("body", "Room that the body takes", whole(person.body)),
    SheetRow("time", "Working time, before anybody has called a canister", whole(person.time_left)),
    SheetRow("rate", "Removal rate, before anybody has called a canister", whole(person.rate)),
    SheetRow("pull", "Force of a pull, to explain why nobody pulls", whole(person.pull)),
    SheetRow("chest", "Pressure on the chest", whole(person.chest)),
    SheetRow("panel_load", "Sideways load on a panel", whole(person.load)),
    SheetRow("refill", "Grain that comes in when the first panel is taken out", whole(person.refill)),
    SheetRow("order", "All panels out, each the one that lets least in", whole(person.order)),
    SheetRow("auger", "Time to be covered while an auger runs", whole(structure.auger)),
    SheetRow("own_auger", "Time to be covered by the bin's own auger", each_bin(structure.own_auger)),
    SheetRow("storage", "Grain in the bin", each_bin(structure.storage)),
    SheetRow("wall", "Pressure on the bin wall (Janssen)", each_bin(structure.wall)),
    SheetRow("openings", "Openings in the wall", each_bin(structure.openings)),
    SheetRow("lowering", "Time to lower the surface three feet", each_bin(structure.lowering)),
    SheetRow("purge", "Blowing a gas out of the head space", each_bin(structure.purge)),
    SheetRow("carbon_dioxide", "Carbon dioxide that an oxygen reading may hide", whole(structure.hidden)),
    SheetRow("noise", "Time allowed in noise", whole(structure.noise)),
    SheetRow("noise_dose", "Noise dose of one work period", whole(structure.dose)),
    SheetRow("slack", "Slack of a lifeline", each_bin(structure.slack)),
)
"""Every sheet. Not here, because it needs the crew's own calls: the mass balance that tells a leak."""


def estimates_of(site: Site, house: House) -> tuple[Line | Gap, ...]:
    """Every estimate that a card allows, and what it does not allow and why.

    Args:
        site: the card.
        house: its house rules.
    """
    return tuple(worked_out(SHEETS, Plan(site, house)))
