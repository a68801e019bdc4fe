"""Wrong procedure files are refused with file, line and reason; nothing else ever comes out."""

from collections.abc import Mapping
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocol.errors import TableError
from protocol.loading import load_procedure
from protocol.procedure import MAX_PROCEDURE_CHARS
from tests.books import MAIN, shipped_procedure, shipped_texts
from tests.protocol.small import SMALL, line_number, spoiled


def _refusal(text: str, **others: str) -> str:
    with pytest.raises(TableError) as caught:
        load_procedure("small", {"small": text, **others})
    return str(caught.value)


def test_the_small_procedure_itself_is_accepted() -> None:
    """What the other tests spoil is right before it is spoiled."""
    procedure = load_procedure("small", {"small": SMALL})
    assert ["first", "second", "question", "over", "listen", "leave"] == [step.id for step in procedure.steps]
    assert ["second", "question", "over"] == [step.next for step in procedure.steps[:3]]


SPOILED = [
    ("misspelt guard", 'needs = ["flow_is_off"]', 'needs = ["flow_is_of"]', "there is no guard 'flow_is_of'"),
    ("guard for the program only", 'needs = ["flow_is_off"]', 'needs = ["repeats_done"]', "there is no guard"),
    ("unknown next", 'say = ["first thing is finished"]', 'say = ["first thing is finished"]\nnext = "thrid"',
     "leads to 'thrid', which is not a step"),
    ("unknown answer", 'to = "second" },', 'to = "secnod" },', "leads to 'secnod', which is not a step"),
    ("answer that returns", 'to = "second" },', 'to = "@return" },', "only the steps of an emergency"),
    ("return from work", 'say = ["second thing is finished"]', 'say = ["second thing is finished"]\nnext = "@return"',
     "only the steps of an emergency"),
    ("unreachable step", 'id = "listen"\n', 'id = "lost"\n', "'listen', which is not a step"),
    ("step that cannot be left", 'next = "@return"', 'next = "listen"', "it cannot be left"),
    ("step that leads to itself", 'say = ["first thing is finished"]',
     'say = ["first thing is finished"]\nnext = "first"', "it cannot be left"),
    ("two equal steps", 'id = "second"', 'id = "first"', "'first': this id is used twice"),
    ("two equal stages", 'id = "trouble"', 'id = "work"', "'work': this id is used twice"),
    ("unknown stage", 'stage = "trouble"\ntitle = "Listen"', 'stage = "toil"\ntitle = "Listen"', "no stage 'toil'"),
    ("two equal phrases", '["it is the purple one"]', '["it is the yellow one"]', "stands twice"),
    ("phrase in force everywhere", '["first thing is finished"]', '["go back one step"]', "already means something"),
    ("phrase of an emergency", '["first thing is finished"]', '["somebody shouted out"]', "already means something"),
    ("emergency like a question", '["somebody shouted out"]', '["grain remaining"]', "already means something"),
    ("too few syllables", '["first thing is finished"]', '["one two three"]', "too short"),
    ("one word", '["first thing is finished"]', '["antidisestablishment"]', "say"),
    ("capital letters", '["first thing is finished"]', '["First thing is finished"]', "say"),
    ("number in a plain phrase", '["first thing is finished"]', '["number {n} is finished"]', "hold {n}"),
    ("number in an answer", '["it is the purple one"]', '["it is number {n}"]', "hold {n}"),
    ("number in an emergency", '["somebody shouted out"]', '["somebody shouted {n}"]', "hold {n}"),
    ("repeat without number", 'say = ["first thing is finished"]',
     'say = ["first thing is finished"]\nrepeat = "panels"', "hold {n}"),
    ("repeat read back", 'say = ["first thing is finished"]',
     'say = ["thing {n} is finished"]\nrepeat = "panels"\ncritical = true', "neither read back nor answered"),
    ("repeat of an unknown setting", 'say = ["first thing is finished"]',
     'say = ["thing {n} is finished"]\nrepeat = "people"', "repeat"),
    ("extra key", 'title = "First"', 'title = "First"\ncolour = "red"', "colour"),
    ("missing source", 'next = "@return"\nsource = "test"', 'next = "@return"', "source"),
    ("missing stage", 'stage = "work"\ntitle = "Over"', 'title = "Over"', "stage"),
    ("answers without a fact", 'fact = "which"\n', "", "answers need the name of a fact"),
    ("nobody is told", 'outside = "Do the first thing"\n', "", "nobody is told anything"),
    ("told to the other side", 'outside = "Do the first thing"', 'inside = "Do it"', "has no prompt"),
    ("no way to confirm", 'say = ["second thing is finished"]\n', "", "either phrases that confirm it"),
    ("unknown place in a prompt", '"Do the first thing"', '"Do the {first} thing"', "no place called 'first'"),
    ("attribute in a prompt", '"Do the first thing"', '"Do the {n.real} thing"', "no place called 'n.real'"),
    ("open brace in a prompt", '"Do the first thing"', '"Do the { thing"', "brace"),
    ("emergency into work", 'to = "listen"', 'to = "second"', "not a step of an emergency"),
    ("emergency to nowhere", 'to = "listen"', 'to = "lisp"', "'lisp', which is not a step"),
    ("no end", "final = true", 'next = "first"\nsay = ["over and not out yet"]\noutside = "Go on"', "cannot be left"),
    ("wrong kind of value", "version = 1", 'version = "one"', "version"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "reason"), [row[1:] for row in SPOILED], ids=[row[0] for row in SPOILED])
def test_a_wrong_file_is_refused_with_its_reason(old: str, new: str, reason: str) -> None:
    """Each mistake has one sentence that names the file, the line and what is wrong."""
    message = _refusal(spoiled(old, new))
    assert message.startswith("small, line ")
    assert reason in message


@pytest.mark.parametrize(
    ("old", "new", "wrong"),
    [
        ('needs = ["flow_is_off"]', 'needs = ["flow_is_of"]', 'needs = ["flow_is_of"]'),
        ('id = "second"', 'id = "first"', 'id = "first"'),
        ('title = "Question"', 'title = "Question"\ncolour = "red"', 'colour = "red"'),
        ('to = "listen"', 'to = "second"', 'to = "second"'),
        ('["second thing is finished"]', '["two of it"]', 'say = ["two of it"]'),
        ('"Do the first thing"', '"Do the {first} thing"', 'outside = "Do the {first} thing"'),
    ],
)
def test_the_line_that_is_named_is_the_line_that_is_wrong(old: str, new: str, wrong: str) -> None:
    """The message leads to the very line."""
    text = spoiled(old, new)
    assert f"small, line {line_number(text, wrong)}: " in _refusal(text)


def test_a_wrong_answer_is_found_by_the_row_that_asks() -> None:
    """Answers stand in one list: the message gives the line where the step begins."""
    text = spoiled('["it is the yellow one"]', '["go back one step"]')
    row = line_number(text, 'id = "question"') - 1
    assert f"small, line {row}: step 'question'" in _refusal(text)


def test_an_unreachable_step_is_named() -> None:
    """A row that no other row leads to is refused by its own name and line."""
    text = spoiled('say = ["first thing is finished"]', 'say = ["first thing is finished"]\nnext = "question"')
    text = text.replace(', to = "second"', "")
    row = line_number(text, 'id = "second"')
    assert f"small, line {row}: step 'second': no step leads here" in _refusal(text)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ('id = "bad_air"', 'id = "foul_air"', "there is no emergency 'bad_air'"),
        ("evacuates = true", "evacuates = false", "has to order everyone out"),
        ('needs = ["nobody_inside"]\n', "", "has to need nobody_inside"),
    ],
)
def test_a_procedure_that_bad_air_would_not_empty_is_refused(old: str, new: str, reason: str) -> None:
    """A bad reading raises 'bad_air' by its name: it has to exist, to order everyone out and to count them."""
    assert reason in _refusal(spoiled(old, new))


def test_two_emergencies_with_one_phrase_are_refused() -> None:
    """An emergency must never be another one."""
    second = '[[interruption]]\nid = "cry"\ntitle = "Cry"\nsay = ["somebody shouted out"]\nfirst = "Stop."\n'
    message = _refusal(f'{SMALL}\n{second}to = "listen"\nsource = "test"\n')
    assert "emergency 'cry': the phrase 'somebody shouted out' already means something else" in message


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "procedure: Field required"),
        ("this is not TOML", "not valid TOML"),
        ("[procedure", "not valid TOML"),
        ("[[step]]\n[step]", "not valid TOML"),
        ("\x00", "not valid TOML"),
        ("a" * (MAX_PROCEDURE_CHARS + 1), "longer than"),
        ("x = " + "[" * 5_000 + "]" * 5_000, "not valid TOML"),
        ("x = " + "{a=" * 3_000 + "1" + "}" * 3_000, "not valid TOML"),
        ("step = 5\nstage = []\n[procedure]\nid = 5", "procedure"),
    ],
    ids=["empty", "prose", "torn", "conflict", "binary", "huge", "deep lists", "deep tables", "wrong kinds"],
)
def test_what_is_not_a_procedure_is_refused(text: str, reason: str) -> None:
    """Empty, torn, huge or deeply nested texts give one sentence, not a crash."""
    message = _refusal(text)
    assert message.startswith("small")
    assert reason in message


def test_a_long_list_of_dotted_keys_is_refused() -> None:
    """A table nested by its name alone is no procedure either."""
    assert _refusal("[" + ".".join("a" * 2_000) + "]").startswith("small")


def test_a_branch_that_is_missing_is_named() -> None:
    """The message says which file to put beside the procedure."""
    text = spoiled('caution = "Advice only."', 'caution = "Advice only."\nincludes = ["branch"]')
    assert "includes 'branch', which is not there" in _refusal(text)


def test_a_branch_with_branches_of_its_own_is_refused() -> None:
    """Includes of an included file would be lost silently."""
    branch = SMALL.replace('caution = "Advice only."', 'caution = "Advice only."\nincludes = ["small"]')
    text = spoiled('caution = "Advice only."', 'caution = "Advice only."\nincludes = ["branch"]')
    assert "cannot include others" in _refusal(text, branch=branch)


def test_a_branch_that_repeats_an_id_is_refused_by_its_own_file() -> None:
    """The message names the branch, not the main file."""
    text = spoiled('caution = "Advice only."', 'caution = "Advice only."\nincludes = ["branch"]')
    assert _refusal(text, branch=SMALL).startswith("branch, line ")


def test_an_unknown_name_lists_the_known_ones() -> None:
    """Asking for a procedure that is not there says which are."""
    with pytest.raises(TableError, match="Known: small"):
        load_procedure("large", {"small": SMALL})


def test_the_shipped_procedure_is_accepted_and_has_its_branches() -> None:
    """The shipped files pass every check."""
    stages = {stage.id for stage in shipped_procedure().stages}
    assert {"size_up", "vacuum", "covered", "emergency", "stand_down"} <= stages


def _outcome(main: str, texts: Mapping[str, str]) -> str:
    """The name of the file that is complained about, or "accepted"; any other error is a failed test."""
    try:
        load_procedure(main, texts)
    except TableError as error:
        return str(error).split(",")[0].split(":")[0]
    return "accepted"


@given(st.text(max_size=400))
def test_any_text_is_refused_politely(text: str) -> None:
    """Nothing but TableError comes out, whatever goes in."""
    assert "small" == _outcome("small", {"small": text})


@settings(max_examples=200)
@given(st.integers(0, len(SMALL) - 1), st.integers(0, 40), st.text(alphabet='abn[]{}="._@ \n,19', max_size=12))
def test_a_procedure_with_any_place_overwritten_is_read_or_refused(start: int, length: int, new: str) -> None:
    """A slip of the hand in a right file gives a procedure or a TableError."""
    text = SMALL[:start] + new + SMALL[start + length :]
    assert _outcome("small", {"small": text}) in {"accepted", "small"}


@settings(max_examples=150)
@given(st.lists(st.integers(0, SMALL.count("\n") - 1), min_size=1, max_size=4), st.randoms(use_true_random=False))
def test_a_procedure_with_lines_lost_or_moved_is_read_or_refused(chosen: list[int], chance: Random) -> None:
    """So does a file with lines missing, doubled or swapped."""
    lines = SMALL.splitlines()
    for index in chosen:
        line = lines[index % len(lines)]
        if index % 2:
            lines.remove(line)
        else:
            lines.insert(chance.randrange(len(lines)), line)
    assert _outcome("small", {"small": "\n".join(lines)}) in {"accepted", "small"}


@settings(max_examples=30)
@given(st.sampled_from(sorted(shipped_texts())), st.data())
def test_the_shipped_files_with_a_line_missing_are_read_or_refused(name: str, data: st.DataObject) -> None:
    """Losing any one line of a shipped file never crashes the loader, and the message names a shipped file."""
    texts = dict(shipped_texts())
    lines = texts[name].splitlines()
    del lines[data.draw(st.integers(0, len(lines) - 1))]
    texts[name] = "\n".join(lines)
    assert _outcome(MAIN, texts) in {"accepted", *texts}
