"""What the synthetic voices say: general word strings and sentences, numbers, letters, radio and command-like phrases.

The model must serve any wording, so most text is drawn from the whole vocabulary; a smaller part is shaped like spoken
commands ("panel two set", "oxygen two zero decimal niner"). Everything here is invented.
"""

from __future__ import annotations

import random
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assistant.recipe import words
from assistant.recipe.phones import pronunciations

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

SHARES: Final = {
    "words": 0.17,
    "sentence": 0.15,
    "command": 0.145,
    "command_words": 0.07,
    "number": 0.13,
    "reading": 0.10,
    "letters": 0.03,
    "date": 0.025,
    "spelling": 0.02,
    "single": 0.16,
}
"""Share of each kind of text among all that is drawn."""

_COMMANDS: Final = tuple(
    "panel # set|panel # in|panel # driven|panel # joined|panel # out|panel # removed|panel # stuck|panel # ready|"
    "oxygen # percent|oxygen #|flammables #|flammables # percent|lel #|l e l #|carbon monoxide #|carbon dioxide #|"
    "hydrogen sulfide #|phosphine #|methane #|depth # feet|depth # inches|depth # metres|level # inches|"
    "grain at %|grain at the %|clear to the %|clear to %|buried to the %|canister #|canister # full|canister # dumped|"
    "vacuum full|vacuum running|vacuum stopped|vacuum blocked|vacuum in position|hose blocked|nozzle in|nozzle at the surface|"
    "ring closed|ring complete|ring sealed|ring leaking|gap closed|gap at panel #|gap sealed|panels reach below the knees|"
    "lockout complete|lockout confirmed|locked tagged and tried|power locked out|auger locked out|sweep auger locked out|"
    "unloading auger stopped|fan running|fan off|fan stays on|aeration fan off|gate closed|conveyor off|guard posted|"
    "lifeline on|line on the patient|line slack|line snug|lifeline attached|harness on|harness checked|tenders ready|# tenders ready|"
    "crew ready|crew of #|# rescuers inside|# rescuers out|all rescuers out|all rescuers leave the bin now|everyone out|"
    "air alarm|meter alarm|structure moving|roof moving|wall bulging|grain moving|grain is moving|grain slide|"
    "mayday mayday mayday|rescuer down|person slipping|person not answering|person answering|person talking|patient talking|"
    "patient awake|patient breathing|patient free|patient out|patient not breathing|patient in pain|patient is calm|"
    "feet free|knees free|legs free|left foot free|right foot free|still held|can move both legs|try a step|"
    "approach complete|approach from the side|boards down|boards in place|legs to the north|legs straight down|legs bent forward|"
    "probe complete|probe found the legs|size up complete|person visible|person not visible|one person|# persons|"
    "rescue called|medics called|medics on scene|second vacuum called|more panels called|handover complete|stand down|"
    "say again|read back|read back the last step|what next|next step|last step|time|how much grain is left|time check|"
    "how long|how long inside|grain left|air report|who is inside|roll call|start par|par #|radio check|stop talking|speak slower|"
    "hold|hold position|all stop|stop the vacuum|start the vacuum|stop the clock|resume|go ahead|stand by|confirm|affirm|"
    "affirmative|negative|roger|wilco|copy|correction|disregard|cancel that|undo last|mark that|note this|"
    "correction # not #|channel #|rescuer # in|rescuer # out|rescuer # ready|rescuer # on the roof|tender # ready|"
    "hatch open|manway open|ladder up|light on|lights on|mask on|goggles on|respirator on|dust mask on|head count #|"
    "crust on the slope|grain bridged above|uphill grain steady|corn|wheat|soybeans|oats|barley|sorghum|canola|rice|"
    "grain is corn|grain is wheat|grain is soybeans|grain is wet|grain is crusted|fumigated|not fumigated|fumigant unknown|"
    "wall cut #|opening # cut|opening # flowing|flow even|flow stopped|surface falling|person showing|bin empty|"
    "emergency traffic|urgent traffic|loss of air|out of air|abandon the bin|withdraw all crews|command to interior|"
    "interior to command|operations to rescue #|dispatch received|incident started|incident closed|drill only|no duff|"
    "temperature #|pressure #|battery # percent|minutes #|# minutes|# hours|start #|stop #|step #|zone #|door # open|valve # shut".split("|")
)
_MEASURED: Final = tuple(
    "oxygen|flammable gas|carbon monoxide|carbon dioxide|hydrogen sulfide|nitrogen dioxide|phosphine|methane|corner #|"
    "outside panel #|panel #|depth|level|pressure|temperature|flow|weight|distance|count".split("|")
)
_WHERE: Final = ("", "", " at the hatch", " at the person", " at the door", " inches", " feet", " percent", " minutes")
_BODY: Final = tuple("knees hips waist ribs chest shoulders chin neck thighs feet ankles armpits".split())
_NOUNS: Final = tuple(
    "man woman child farmer driver doctor teacher neighbor captain chief worker house barn field road river bridge truck "
    "tractor engine motor fan door window roof ladder rope tool hammer shovel light radio phone letter book table chair "
    "garden tree dog horse cow bird weather rain snow wind storm morning evening week winter summer market town city school "
    "kitchen bread water coffee apple story question answer number color song game picture paper machine wheel bottle box".split()
)
_VERBS: Final = tuple(
    "moved saw found carried opened closed needed wanted heard called left reached watched fixed turned pulled pushed "
    "lifted cleaned checked held kept brought painted followed remembered crossed filled emptied shook dropped".split()
)
_ADJECTIVES: Final = tuple(
    "old young new small large heavy light dark bright cold warm dry wet quiet loud early late strong weak long short high "
    "low empty full clean dirty broken yellow red green blue white black gray wooden steel narrow wide thick thin".split()
)
_ENDINGS: Final = tuple(
    "before the rain|after dark|in the morning|near the river|on the hill|at the station|with both hands|without a word|"
    "for the third time|by the door|under the roof|behind the barn|last winter|every day|very slowly|as fast as possible|"
    "and then went home|because it was late|but nobody answered|until the light went out".split("|")
)


@dataclass(frozen=True, slots=True)
class Text:
    """One thing to say: lower-case words, and which kind of text it is (a key of SHARES)."""

    words: str
    kind: str


def spoken_number(draw: random.Random) -> str:
    """A number as people say it: digit by digit, whole, with a decimal, radio or plain."""
    digit = lambda: draw.choice(words.DIGITS + words.DIGITS + ("niner", "niner", "fife", "tree", "fower"))  # noqa: E731
    plain = lambda: draw.choice(words.DIGITS)  # noqa: E731
    point = draw.choice(("decimal", "point"))
    shapes: tuple[Callable[[], str], ...] = (
        lambda: " ".join(digit() for _ in range(draw.randint(1, 3))),
        lambda: draw.choice(words.DIGITS[1:]),
        lambda: draw.choice(words.TEENS + words.TENS),
        lambda: f"{draw.choice(words.TENS)} {draw.choice(words.DIGITS[1:])}",
        lambda: f"{' '.join(digit() for _ in range(draw.randint(1, 2)))} {point} {digit()}",
        lambda: f"{draw.choice(words.TENS + words.TEENS)} {point} {plain()}",
        lambda: f"{draw.choice(words.TENS)} {draw.choice(words.DIGITS[1:])} {point} {plain()}",
        lambda: f"{draw.choice(words.DIGITS[1:])} {draw.choice(('hundred', 'thousand'))}",
        lambda: f"{draw.choice(words.DIGITS[1:])} hundred {draw.choice(words.TENS)} {draw.choice(words.DIGITS[1:])}",
    )
    return draw.choice(shapes)()


def command(draw: random.Random, templates: tuple[str, ...]) -> str:
    """One command-like phrase: '#' becomes a number, '%' a part of the body."""
    text = draw.choice(templates).replace("%", draw.choice(_BODY))
    while "#" in text:
        text = text.replace("#", spoken_number(draw), 1)
    return text


def reading(draw: random.Random) -> str:
    """What was measured, how much, and where or of what."""
    text = draw.choice(_MEASURED).replace("#", draw.choice(words.DIGITS[1:]))
    return f"{text} {spoken_number(draw)}{draw.choice(_WHERE)}"


def sentence(draw: random.Random) -> str:
    """A plain invented sentence."""
    the = lambda: draw.choice(("the", "the", "a", "that", "this", "every", "her", "his", "our", "no"))  # noqa: E731
    noun = lambda: (f"{draw.choice(_ADJECTIVES)} " if draw.random() < 0.5 else "") + draw.choice(_NOUNS)  # noqa: E731
    return f"{the()} {noun()} {draw.choice(_VERBS)} {the()} {noun()} {draw.choice(_ENDINGS)}"


def date_or_address(draw: random.Random) -> str:
    """A date, a clock time, a telephone or house number."""
    year = f"nineteen {draw.choice(words.TENS)} {draw.choice(words.DIGITS[1:])}"
    run = " ".join(draw.choice((*words.DIGITS, "oh")) for _ in range(draw.randint(3, 8)))
    shapes = (
        f"{draw.choice(words.MONTHS)} {draw.choice(words.ORDINALS)} {year}",
        f"{draw.choice(words.MONTHS)} {draw.choice(words.ORDINALS)}",
        f"{draw.choice(words.DIGITS[1:])} {draw.choice(words.TENS)} {draw.choice(('a', 'p'))} m",
        run,
        f"{run} {draw.choice(('street', 'road', 'avenue', 'drive', 'north', 'east'))}",
    )
    return draw.choice(shapes)


def phrases_in(folder: Path) -> list[str]:
    """Every phrase in the procedure files of `folder`, in lower case: what stands under a key that names phrases."""
    found: dict[str, None] = {}

    def walk(value: object, *, inside: bool) -> None:
        if isinstance(value, dict):
            for key, item in value.items():
                walk(item, inside=inside or "phrase" in str(key) or str(key) in ("say", "words"))
        elif isinstance(value, list):
            for item in value:
                walk(item, inside=inside)
        elif inside and isinstance(value, str):
            text = value.lower().strip(" .!?")
            if text and all(part.replace("'", "").isalpha() for part in text.split()):
                found[text] = None

    for path in sorted(folder.glob("*.toml")):
        walk(tomllib.loads(path.read_text(encoding="utf-8")), inside=False)
    return list(found)


def procedure_phrases(folder: Path) -> list[str]:
    """Those of `phrases_in` whose every word can be said."""
    return [text for text in phrases_in(folder) if all(pronunciations(word) for word in text.split())]


def draw_texts(count: int, seed: int, phrases: Iterable[str] = ()) -> list[Text]:
    """`count` texts in the shares of SHARES, the same for the same seed; `phrases` join the command templates."""
    draw = random.Random(seed)
    templates = tuple(dict.fromkeys([*_COMMANDS, *phrases]))
    sayable = sorted({word for text in templates for word in text.split() if word not in "#%"})
    common = [word for word in words.common_words() if len(word) > 2]
    frequent = common[: len(common) // 5] + list(words.FUNCTION) * 3
    short = [word for word in (*words.domain_words(), *sayable, *common[:6000]) if len(word) <= 6]
    makers: dict[str, Callable[[], str]] = {
        "words": lambda: " ".join(draw.choice(frequent if draw.random() < 0.35 else common) for _ in range(draw.randint(3, 8))),
        "sentence": lambda: sentence(draw),
        "command": lambda: command(draw, templates),
        "command_words": lambda: " ".join(draw.choice(sayable) for _ in range(draw.randint(2, 5))),
        "number": lambda: spoken_number(draw),
        "reading": lambda: reading(draw),
        "letters": lambda: " ".join(draw.choice(words.LETTERS) for _ in range(draw.randint(1, 7))),
        "date": lambda: date_or_address(draw),
        "spelling": lambda: " ".join(draw.choice(words.SPELLING) for _ in range(draw.randint(1, 4))),
        "single": lambda: draw.choice(short if draw.random() < 0.6 else common),
    }
    kinds = draw.choices(list(SHARES), list(SHARES.values()), k=count)
    texts = [Text(makers[kind](), kind) for kind in kinds]
    return [text for text in texts if all(pronunciations(word) for word in text.words.split())]
