"""Two whole drills, line by line as they are said: invented places and people, the shipped procedure's words."""

AFFIRM = "affirmative"


def readings(*, phosphine: bool = False) -> tuple[str, ...]:
    """A four-gas meter read out, oxygen first, each line affirmed; phosphine after it when asked for."""
    lines = (
        "oxygen two zero decimal niner",
        "flammable gas zero",
        "carbon monoxide one two",
        "hydrogen sulfide zero",
        *(("phosphine zero decimal one",) if phosphine else ()),
    )
    return tuple(line for words in lines for line in (words, AFFIRM))


def from_fumigated(answer: str, *, several: bool = False) -> tuple[str, ...]:
    """From the fumigant question to the end: where the covered branch joins; several: somebody asks for others."""
    gas = answer != "never been treated"
    return (
        answer, AFFIRM,
        "caught by flowing grain",
        "unloading gear is off",
        "padlocks and tags applied",
        "start buttons tried and dead", AFFIRM,
        "sentry at the control panel",
        "trucks parked clear of bin",
        "leave the fan running",
        "mutual aid requested",
        "ambulance on its way",
        "command is established",
        "gas meter bump tested",
        *readings(phosphine=gas), "hatch readings finished",
        *readings(phosphine=gas), "readings at the person finished",
        "person told to hold still",
        "lifeline on the person",
        "pulling is forbidden",
        "nobody has pulled so far",
        "harness and anchor inspected",
        "two tenders every lifeline",
        "goggles and dust masks fitted",
        "loud and clear both ways",
        "entry approved by command", AFFIRM,
        "rescuer one going in",
        "rescuer two going in",
        "team is in the bin",
        "walkway boards are laid",
        "kneeling by the person",
        "airway free and mask on",
        "legs angled forward",
        "probing is complete",
        "panel one standing",
        "panel two standing",
        "panel three standing",
        "panel four standing",
        "every joint is fastened",
        "the ring is driven down",
        "ring stops too high", AFFIRM,
        "the ring is driven down",
        "well below the kneecaps", AFFIRM,
        "opening is plugged up",
        "vacuum hose is ready",
        "grain at chest",
        "canister is full",
        "person is answering",
        "grain is off the chest",
        "canister is full",
        *readings(phosphine=gas),
        "grain at hip bone",
        "hips are uncovered",
        "canister is full",
        "grain at knees",
        "both knees are showing",
        "feet are still held fast",
        "grain at feet",
        "feet are uncovered now",
        "person can take a step",
        "harness is on the patient",
        "climbing out on the panels",
        "patient free of the grain",
        "patient at the ambulance",
        "medics have taken over",
        "panel two recovered",
        "panel one recovered",
        "panel four recovered",
        "panel three recovered",
        *(("nobody else is trapped", AFFIRM) if several else ()),
        "rescuer one is out",
        "rescuer two is out",
        "bin is empty of people", AFFIRM,
        "lockout handed to owner",
        "stand down the operation",
    )  # fmt: skip


VISIBLE: tuple[str, ...] = (
    "one person trapped",
    "person in plain sight", AFFIRM,
    "chest deep in the grain",
    "breathing normally",
    "talking to us clearly",
    "yellow corn in the bin",
    "level surface all round",
    *from_fumigated("never been treated"),
)  # fmt: skip

COVERED: tuple[str, ...] = (
    "number is unknown",
    "covered by the grain", AFFIRM,
    "last seen point is marked",
    "everything locked and tested", AFFIRM,
    "aeration is blowing",
    "openings are chalked out",
    "nobody knows for sure", AFFIRM,
    "flammable gas zero at the hatch", AFFIRM,
    "gas measured for cutting",
    "the air is free of dust",
    "cutting crew has water",
    "opposite holes are open",
    "flow is even all around",
    "person uncovered flow stopped", AFFIRM,
    "chest deep in the grain",
    "no sign of breathing",
    "nothing comes back",
    "yellow corn in the bin",
    "level surface all round",
    *from_fumigated("nobody knows for sure", several=True),
)  # fmt: skip

PANELS_OUT = VISIBLE.index("panel three recovered") + 1
SECOND_FOUND = ("person in plain sight", AFFIRM, "chest deep in the grain", "breathing normally", "talking to us clearly")
TO_WORK = VISIBLE[VISIBLE.index("gas meter bump tested") : PANELS_OUT]
ENTERING = ("rescuer one going in", "rescuer two going in")

SEVERAL: tuple[str, ...] = (
    "several people trapped",
    *VISIBLE[1:PANELS_OUT],
    "another person is trapped", AFFIRM,
    *SECOND_FOUND,
    *(line for line in TO_WORK if line not in ENTERING),
    "nobody else is trapped", AFFIRM,
    *VISIBLE[PANELS_OUT:],
)  # fmt: skip
"""Two people, one after the other, the rescuers in the bin all the while."""
