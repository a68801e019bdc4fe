"""The machine in its one typed module: traps of `transitions` 0.9.3, and the whole graph against networkx."""

import re

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from transitions import Machine

from protocol.errors import TableError
from protocol.guards import AIR_CURRENT, GUARDS, NOT_HELD, REPEATS_DONE
from protocol.loading import load_procedure
from protocol.machine import (
    CONFIRM,
    REPEAT,
    Moved,
    Refused,
    all_rows,
    answer_trigger,
    fire,
    is_raise,
    raise_trigger,
    rows_from,
)
from protocol.procedure import RETURN, Procedure, ProcedureText, Step, merge, read_procedure_text
from tests.books import MAIN, shipped_procedure, shipped_texts

STEPS = shipped_procedure().steps


def _holds(_guard: str) -> str | None:
    return None


def _fire(step: str, trigger: str, back: str = "people") -> Moved | Refused:
    procedure = shipped_procedure()
    return fire(procedure, procedure.step(step), trigger, _holds, back)


@pytest.mark.parametrize("step", [step.id for step in STEPS])
def test_no_step_can_be_jumped_to_past_its_guards(step: str) -> None:
    """`transitions` adds an unguarded to_<state> for every state unless told not to; here none of them works."""
    for dest in (step, "closed", "people"):
        assert Refused("", "that does not belong to this step") == _fire(step, f"to_{dest}")


def test_the_library_would_add_those_jumps() -> None:
    """The trap is real in the installed version: without auto_transitions=False the jump exists."""
    model = type("Model", (), {})()
    Machine(model=model, states=["gate", "inside"], initial="gate")
    assert model.to_inside()
    assert "inside" == model.state


@pytest.mark.parametrize("trigger", ["", "confrim", "answer_", "answer_maybe", "raise_alarm", "trigger", "state", "holds"])
def test_a_trigger_that_does_not_exist_is_a_refusal_and_no_crash(trigger: str) -> None:
    """A misspelt trigger is refused by name, whatever the model's own attributes are called."""
    assert Refused("", "that does not belong to this step") == _fire("harness", trigger)


def test_no_two_rows_share_step_and_trigger() -> None:
    """`transitions` lets the first of two equal rows win silently; the shipped table holds none."""
    pairs = [(row.source, row.trigger) for row in all_rows(shipped_procedure())]
    assert len(set(pairs)) == len(pairs)


def test_the_library_would_let_the_first_of_two_rows_win() -> None:
    """The trap is real: both rows are accepted, the second never fires."""
    model = type("Model", (), {})()
    machine = Machine(model=model, states=["a", "b", "c"], initial="a", auto_transitions=False)
    machine.add_transition("go", "a", "b")
    machine.add_transition("go", "a", "c")
    assert model.trigger("go")
    assert "b" == model.state


def test_every_name_in_every_row_exists() -> None:
    """A misspelt guard or destination builds without complaint and fails only when fired: so all are looked up."""
    procedure = shipped_procedure()
    known = {step.id for step in procedure.steps} | {RETURN}
    for row in all_rows(procedure):
        assert row.source in known
        assert row.dest in known
        assert set(row.guards) <= set(GUARDS)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.id)
def test_each_row_leads_where_it_says_and_each_guard_can_refuse_it(step: Step) -> None:
    """Every row of the table is fired once open, and once for each guard shut: a refused trigger really refuses."""
    procedure = shipped_procedure()
    for row in rows_from(procedure, step):
        dest = "boards" if row.dest == RETURN else row.dest
        assert Moved(dest) == fire(procedure, step, row.trigger, _holds, "boards")
        for shut in row.guards:
            reasons = {**dict.fromkeys(row.guards), shut: f"{shut} is shut"}
            assert Refused(shut, f"{shut} is shut") == fire(procedure, step, row.trigger, reasons.__getitem__, "boards")


def test_the_first_guard_that_refuses_gives_the_reason() -> None:
    """Of several shut guards the first in the row speaks."""
    step = shipped_procedure().step("entry_go")
    refused = fire(shipped_procedure(), step, CONFIRM, lambda guard: f"no {guard}", step.id)
    assert Refused(NOT_HELD, f"no {NOT_HELD}") == refused
    refused = fire(
        shipped_procedure(), step, CONFIRM, lambda guard: None if guard == NOT_HELD else f"no {guard}", step.id
    )
    assert Refused("lockout_was_tried", "no lockout_was_tried") == refused


def test_an_error_inside_a_guard_is_not_taken_for_a_refusal() -> None:
    """A guard with a bug crashes the decision instead of looking like a step that is not ready."""

    def broken(_guard: str) -> str | None:
        raise AttributeError("a bug")

    with pytest.raises(AttributeError, match="a bug"):
        fire(shipped_procedure(), shipped_procedure().step("harness"), CONFIRM, broken, "harness")


def test_firing_leaves_nothing_behind() -> None:
    """The machine is built afresh for each decision: asking twice gives the same answer twice."""
    assert _fire("harness", CONFIRM) == _fire("harness", CONFIRM) == Moved("tenders")


@pytest.mark.parametrize("step", [step for step in STEPS if not step.final], ids=lambda step: step.id)
def test_the_guards_of_a_row_follow_from_its_stage(step: Step) -> None:
    """Hold stops every step but those of emergencies; air stops every step in the bin that does not lead out."""
    stage = shipped_procedure().stage_of(step)
    for row in rows_from(shipped_procedure(), step):
        if is_raise(row):
            assert () == row.guards
            continue
        assert (not stage.emergency) == (NOT_HELD in row.guards)
        assert (stage.inside_bin and not step.leaving) == (AIR_CURRENT in row.guards)
        assert set(step.needs) <= set(row.guards)
        assert (bool(step.repeat) and row.trigger == CONFIRM) == (REPEATS_DONE in row.guards)


def test_only_two_steps_lead_out_past_the_air() -> None:
    """A person who climbs is not stopped by a meter; the list is short and known."""
    assert ["climbing", "free"] == [step.id for step in STEPS if step.leaving]


# ------------------------------------------------------- the graph, with networkx as the independent reference


def _graph_of(procedure: Procedure, *, with_emergencies: bool, with_returns: bool) -> "nx.DiGraph[str]":
    """The procedure as a graph, made from its rows without the loader's help."""
    graph: nx.DiGraph[str] = nx.DiGraph()
    emergency = {stage.id for stage in procedure.stages if stage.emergency}
    homes = [step.id for step in procedure.steps if step.stage not in emergency]
    for step in procedure.steps:
        graph.add_node(step.id)
        if step.final:
            continue
        leads = {answer.to or step.next for answer in step.answers} or {step.next}
        leads |= {row.to for row in step.detours}
        if with_emergencies:
            leads |= {row.to for row in procedure.interruptions}
        for dest in leads - {None, RETURN}:
            graph.add_edge(step.id, str(dest))
        if RETURN in leads and with_returns:
            graph.add_edges_from((step.id, home) for home in homes)
    return graph


def _wrong_steps(procedure: Procedure) -> tuple[set[str], set[str]]:
    """Steps that networkx finds unreachable, and steps that it finds without a way to the end."""
    start = procedure.steps[0].id
    into = _graph_of(procedure, with_emergencies=True, with_returns=False)
    out = _graph_of(procedure, with_emergencies=False, with_returns=True)
    reached = nx.descendants(into, start) | {start}
    final = [step.id for step in procedure.steps if step.final]
    leaving = set(final).union(*(nx.ancestors(out, step) for step in final))
    return set(into) - reached, set(out) - leaving


def _verdict(main: str, texts: dict[str, str]) -> tuple[str, str]:
    """What the loader says about the graph: ("reach" or "leave", step), or two empty words.

    The emergency that every procedure has to have is looked at last, when the graph is in order.
    """
    try:
        load_procedure(main, texts)
    except TableError as error:
        if "bad_air" in str(error):
            return "", ""
        step = re.search(r"step '(\w+)': (no step leads here|it cannot be left)", str(error))
        if step is None:
            return "other", str(error)
        return "reach" if "leads here" in step[2] else "leave", step[1]
    return "", ""


def _assert_agrees(main: str, texts: dict[str, str], rows: tuple[ProcedureText, ...]) -> None:
    unreached, stuck = _wrong_steps(merge(rows[0], rows[1:]))
    what, step = _verdict(main, texts)
    assert what != "other", step
    assert bool(unreached or stuck) == bool(what)
    if what:
        assert step in (unreached if what == "reach" else stuck)


def test_networkx_reaches_and_leaves_every_shipped_step() -> None:
    """The loader's verdict on the shipped procedure is networkx's."""
    assert (set(), set()) == _wrong_steps(shipped_procedure())


def test_every_final_step_ends_the_walk_and_only_those() -> None:
    """By networkx, the only steps without a way on are the final ones."""
    procedure = shipped_procedure()
    graph = _graph_of(procedure, with_emergencies=True, with_returns=True)
    assert {step.id for step in procedure.steps if step.final} == {name for name in graph if not graph.out_degree(name)}


def test_every_way_into_the_bin_passes_lockout_air_line_and_approval() -> None:
    """In the graph without emergencies the gates dominate every step inside (networkx, immediate dominators)."""
    procedure = shipped_procedure()
    graph = _graph_of(procedure, with_emergencies=False, with_returns=False)
    above = nx.immediate_dominators(graph, procedure.steps[0].id)
    inside = [step.id for step in procedure.steps if procedure.stage_of(step).inside_bin]
    for step in inside:
        passed, gate = set(), step
        while (upper := above.get(gate)) not in {None, gate}:
            gate = str(upper)
            passed.add(gate)
        assert {"tried", "air_hatch", "air_person", "line_on", "tenders", "entry_go", "rescuers_in"} <= passed


def _with_next(text: str, row: int, dest: str) -> str:
    """A procedure text with another next in its row-th step."""
    parts = text.split("[[step]]")
    kept = [line for line in parts[row + 1].splitlines() if not line.startswith(("next =", "final ="))]
    parts[row + 1] = "\n".join([*kept[:3], f'next = "{dest}"', *kept[3:], "", ""])
    return "[[step]]".join(parts)


MAIN_STEPS = [step.id for step in read_procedure_text(shipped_texts()[MAIN], MAIN).step]


@settings(max_examples=80)
@given(st.lists(st.tuples(st.integers(0, len(MAIN_STEPS) - 2), st.sampled_from(MAIN_STEPS)), min_size=1, max_size=4))
def test_a_mutated_shipped_procedure_is_judged_as_networkx_judges_it(changes: list[tuple[int, str]]) -> None:
    """With any few steps leading elsewhere, loader and networkx agree, and the step that is named is a wrong one."""
    texts = dict(shipped_texts())
    for row, dest in changes:
        texts[MAIN] = _with_next(texts[MAIN], row, dest)
    names = (MAIN, "covered", "emergencies", "several")
    _assert_agrees(MAIN, texts, tuple(read_procedure_text(texts[name], name) for name in names))


def _random_text(nexts: list[int], finals: set[int], emergencies: set[int]) -> str:
    """A procedure of one-phrase steps: nexts[i] is where step i leads, -1 is a return."""
    lines = ['[procedure]\nid = "small"\ntitle = "Small"\nversion = 1\ncaution = "Advice."']
    lines += ['[[stage]]\nid = "work"\ntitle = "Work"', '[[stage]]\nid = "trouble"\ntitle = "Trouble"\nemergency = true']
    for index in sorted(emergencies)[:1]:
        lines.append(f'[[interruption]]\nid = "shout"\ntitle = "Shout"\nsay = ["somebody shouted out"]\nfirst = "Stop."\n'
                     f'to = "step_{index}"\nsource = "test"')  # fmt: skip
    for index, dest in enumerate(nexts):
        stage = "trouble" if index in emergencies else "work"
        lead = RETURN if dest < 0 and index in emergencies else f"step_{abs(dest) % len(nexts)}"
        end = "final = true" if index in finals else f'next = "{lead}"'
        lines.append(f'[[step]]\nid = "step_{index}"\nstage = "{stage}"\ntitle = "Step"\noutside = "Go on"\n'
                     f'confirmed_by = "outside"\nsay = ["everything is finished"]\nsource = "test"\n{end}')  # fmt: skip
    return "\n".join(lines)


@settings(max_examples=300)
@given(st.data())
def test_a_random_small_procedure_is_judged_as_networkx_judges_it(data: st.DataObject) -> None:
    """Loader and networkx agree on any graph of up to eight steps, with and without emergencies."""
    size = data.draw(st.integers(2, 8))
    nexts = data.draw(st.lists(st.integers(-3, size - 1), min_size=size, max_size=size))
    emergencies = data.draw(st.sets(st.integers(1, size - 1), max_size=3))
    finals = data.draw(st.sets(st.integers(0, size - 1), min_size=1, max_size=2))
    text = _random_text(nexts, finals, emergencies)
    _assert_agrees("small", {"small": text}, (read_procedure_text(text, "small"),))


def test_triggers_of_answers_and_emergencies_never_meet() -> None:
    """Confirm, repeat, answers and emergencies have names of their own."""
    kinds = {raise_trigger(row.id) for row in shipped_procedure().interruptions}
    answers = {answer_trigger(answer.value) for step in shipped_procedure().steps for answer in step.answers}
    assert not kinds & answers
    assert not (kinds | answers) & {CONFIRM, REPEAT}
