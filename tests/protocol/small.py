"""A very small procedure as TOML text, to be spoiled line by line in tests."""

SMALL = """\
[procedure]
id = "small"
title = "Small procedure"
version = 1
caution = "Advice only."

[[stage]]
id = "work"
title = "Work"

[[stage]]
id = "trouble"
title = "Trouble"
emergency = true

[[interruption]]
id = "shout"
title = "Shout"
say = ["somebody shouted out"]
first = "Stop."
to = "listen"
source = "test"

[[interruption]]
id = "bad_air"
title = "Bad air"
say = ["the meter is howling"]
first = "All rescuers leave the bin now."
to = "leave"
evacuates = true
source = "test"

[[step]]
id = "first"
stage = "work"
title = "First"
outside = "Do the first thing"
confirmed_by = "outside"
say = ["first thing is finished"]
source = "test"

[[step]]
id = "second"
stage = "work"
title = "Second"
inside = "Do the second thing"
confirmed_by = "inside"
say = ["second thing is finished"]
needs = ["flow_is_off"]
source = "test"

[[step]]
id = "question"
stage = "work"
title = "Question"
outside = "Which one is it?"
confirmed_by = "outside"
fact = "which"
answers = [
  { say = ["it is the yellow one"], value = "yellow" },
  { say = ["it is the purple one"], value = "purple", to = "second" },
]
source = "test"

[[step]]
id = "over"
stage = "work"
title = "Over"
confirmed_by = "outside"
final = true
source = "test"

[[step]]
id = "listen"
stage = "trouble"
title = "Listen"
outside = "Listen to it"
confirmed_by = "outside"
say = ["shouting has been answered"]
next = "@return"
source = "test"

[[step]]
id = "leave"
stage = "trouble"
title = "Leave"
outside = "Count everyone out"
confirmed_by = "outside"
say = ["everyone has been counted"]
needs = ["nobody_inside"]
next = "listen"
source = "by the rules"
"""


def spoiled(old: str, new: str) -> str:
    """The small procedure with one place changed.

    Raises:
        ValueError: if that place is not there exactly once.
    """
    if SMALL.count(old) != 1:
        raise ValueError(f"'{old}' stands {SMALL.count(old)} times in the small procedure.")
    return SMALL.replace(old, new)


def line_number(text: str, part: str) -> int:
    """The number, from 1, of the last line that reads exactly so."""
    return max(number for number, line in enumerate(text.splitlines(), start=1) if part == line)
