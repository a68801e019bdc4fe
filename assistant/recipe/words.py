"""Which words the shipped model knows: common English, the trade's and the radio's words, letters and digits."""

from __future__ import annotations

from importlib import resources
from typing import Final

from assistant.recipe.phones import pronunciations

DIGITS: Final = tuple("zero one two three four five six seven eight nine".split())
RADIO_DIGITS: Final = tuple("niner fife tree fower oh".split())
TEENS: Final = tuple(
    "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
)
TENS: Final = tuple("twenty thirty forty fifty sixty seventy eighty ninety".split())
ORDINALS: Final = tuple(
    "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth thirteenth fourteenth fifteenth "
    "sixteenth seventeenth eighteenth nineteenth twentieth thirtieth".split()
)
MONTHS: Final = tuple(
    "january february march april may june july august september october november december".split()
)
LETTERS: Final = tuple("abcdefghijklmnopqrstuvwxyz")
SPELLING: Final = tuple(
    "alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo "
    "sierra tango uniform victor whiskey yankee zulu".split()
)
RADIO: Final = tuple(
    "affirm affirmative negative roger wilco over out standby stand by say again read back correction confirm disregard "
    "break mayday par copy received repeat acknowledge go ahead speak slower words twice emergency traffic urgent "
    "evacuate withdraw abandon command safety officer incident dispatch sector division operations interior "
    "exterior rescue one two team crew all clear hold hold fire check radio test channel headset".split()
)
TRADE: Final = tuple(
    "grain corn wheat soybean soybeans barley oats rice sorghum milo canola sunflower bin bins silo silos hopper auger "
    "augers sweep conveyor elevator leg gate gates spout downspout ladder hatch manway roof eave door doors panel panels "
    "ring cofferdam coffer dam tube wall walls seal sealed gap leak leaking tight joined driven drive mallet hammer boot "
    "offcut offcuts wedge board boards plywood vacuum vac nozzle hose canister canisters discharge scoop shovel bucket "
    "knees knee hips hip waist ribs rib chest shoulders shoulder chin neck face mouth nose feet foot legs ankle ankles "
    "shins thighs armpits arms hands harness lifeline lifelines line rope anchor tender tenders attendant belay winch "
    "tripod pulley carabiner knot slack snug lockout tagout locked tagged tried padlock lock tag breaker energized "
    "deenergized deenergize power shut off aeration fan fans blower ventilate ventilation purge air meter monitor alarm "
    "oxygen carbon monoxide dioxide hydrogen sulfide sulphide phosphine methane flammable flammables toxic toxics lel ppm "
    "percent parts million fumigated fumigant dust respirator mask goggles helmet gloves light lights headlamp crust "
    "bridged bridging avalanche slide sliding slope uphill downhill flow flowing moving stopped level depth buried covered "
    "visible trapped engulfed engulfment entrapment victim patient casualty person breathing talking awake conscious "
    "answering unresponsive airway bleeding pain cold warm blanket stretcher stokes basket medic medics paramedic ambulance "
    "ambulances helicopter rescuer rescuers entrant entry exit inside outside climb climbing lift pull push step stuck free "
    "moved removed set placed slipping steady reading readings reassure o'clock north south east west quarter half inch inches "
    "feet yard yards meter meters metre metres centimeters liter liters litre litres gallon gallons bushel bushels pound "
    "pounds kilo kilos kilogram kilograms ton tons minute minutes hour hours second seconds plus minus point decimal hundred "
    "thousand enter entering leave leaving now next previous start stop begin end finish finished done complete completed "
    "walkway walkways handover kneecap kneecaps count number time status report log note mark undo cancel skip pause resume mute volume louder quieter help yes no".split()
)
MOST_PHONES: Final = 11
"""Longer common words are left out of the shipped model, which must stay small; the trade's are kept."""
FUNCTION: Final = tuple(
    "the of and to in is that it was for on are as with his they at be this have from or had by but not what all were we "
    "when your can said there use an each which she do how their if will up other about out many then them these so some "
    "her would make like him into has look more write see could people my than been call who its now find long down day "
    "did get come made may part i'm it's don't can't we're that's he's".split()
)


def common_words() -> list[str]:
    """About 20,000 common English words, commonest class first.

    From SCOWL (Kevin Atkinson's word lists, permissive licence; notice in data/common_words_licence.txt), size classes
    10, 20 and part of 35, kept only where CMUdict says how to say them.
    """
    text = resources.files("assistant.recipe").joinpath("data/common_words.txt").read_text(encoding="utf-8")
    return text.split()


def domain_words() -> list[str]:
    """Every word that the trade, the radio and numbers need, in a fixed order, each once."""
    tables = (DIGITS, RADIO_DIGITS, TEENS, TENS, ORDINALS, MONTHS, LETTERS, SPELLING, RADIO, TRADE, FUNCTION)
    return list(dict.fromkeys(word for table in tables for word in table))


def vocabulary() -> list[str]:
    """All words of the shipped model that can be said; `domain_words` first."""
    common = [word for word in common_words() if pronunciations(word) and len(pronunciations(word)[0]) <= MOST_PHONES]
    words = dict.fromkeys(domain_words() + common)
    return [word for word in words if pronunciations(word)]
