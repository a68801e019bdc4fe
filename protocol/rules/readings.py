"""Air readings, canisters, grain levels, and taking the last entry back."""

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas, Reading, Verdict, believable, crossed, judge, latest, standing_bad
from protocol.history import RESCUER_OUT
from protocol.marks import MARKS, is_at_or_below
from protocol.numbers import count_words
from protocol.procedure import BAD_AIR
from protocol.rules import crew, emergencies, taping
from protocol.rules.turn import Turn
from protocol.scene import minutes_ms
from protocol.state import Pending
from protocol.wording import bad_air_order, level_answer, reading_words


def report_air(turn: Turn, command: cmd.ReportAir) -> None:
    """A good reading is read back first; a bad one counts at once."""
    place = command.place or turn.scene.step.place or _last_place(turn)
    value = format(command.value, "f")
    if not believable(command.gas, command.value):
        turn.answer(f"{command.gas.spoken}: no meter shows that number. Say it again.", "air")
        return
    turn.drop_readback("overtaken")
    pending = Pending(
        "air", turn.state.step, command.origin.station, command.origin.heard, turn.at_ms,
        gas=command.gas, value=command.value, place=place,
    )  # fmt: skip
    if judge(command.gas, command.value) is Verdict.BAD:
        record(turn, pending)
        return
    turn.emit(
        ev.ReadbackAsked(turn.at_ms, "air", turn.state.step, pending.by, pending.heard, None,
                         command.gas, command.value, place)
    )  # fmt: skip
    turn.start_timer("readback")
    turn.answer(f"{reading_words(command.gas, value, place)}. Say, affirmative.", "air")


def record(turn: Turn, pending: Pending) -> None:
    """Put a reading on record, and order everyone out when it is bad."""
    if pending.gas is None or pending.value is None or pending.place is None:
        return
    verdict = judge(pending.gas, pending.value)
    turn.emit(ev.AirRead(turn.at_ms, pending.gas, pending.value, pending.place, verdict.value))
    limits = crossed(pending.gas, pending.value)
    for limit in limits[-1:]:
        turn.emit(
            ev.AirLimitCrossed(turn.at_ms, pending.gas, pending.value, pending.place, limit.name, limit.source,
                               limit.verdict.value)
        )  # fmt: skip
    turn.start_timer("quiet")
    key = f"{pending.gas.value}@{pending.place}"
    if verdict is Verdict.BAD:
        turn.stop_timer("air_age", key)
        _order_out(turn, Reading(pending.gas, pending.value, pending.place, turn.at_ms))
        return
    turn.start_timer("air_age", key)
    warning = f" Caution: {limits[-1].name}." if limits else ""
    turn.answer(f"{pending.gas.spoken} recorded.{warning}{_order_hint(turn, pending.gas)}", "air")


def count_canister(turn: Turn, _command: cmd.CountCanister) -> None:
    """One more canister is out."""
    turn.emit(ev.CanisterCounted(turn.at_ms, len(turn.state.canisters_ms) + 1))
    turn.start_timer("quiet")
    turn.answer(f"Canister {count_words(len(turn.state.canisters_ms))}.", "canister")


def call_level(turn: Turn, command: cmd.CallLevel) -> None:
    """The grain stands at a mark; a rise is questioned aloud."""
    if command.mark not in MARKS:
        turn.answer(f"There is no mark called {command.mark}.", "level")
        return
    before = turn.state.level
    turn.emit(ev.LevelCalled(turn.at_ms, command.mark))
    turn.start_timer("quiet")
    if before and not is_at_or_below(command.mark, before):
        turn.say("both", ev.Urgency.ALARM,
                 f"Grain rose from {before} to {command.mark}. Check the ring for a leak.", "level")  # fmt: skip
        return
    turn.tell(level_answer(turn.scene), "level")
    taping.watch(turn)


def correct(turn: Turn, _command: cmd.Correct) -> None:
    """Take the last reading, count or level back; what was read back is dropped first."""
    if turn.state.pending:
        turn.drop_readback("negative")
        turn.answer("Disregarded. Say it again.", "correct")
        return
    if not turn.state.entries:
        turn.answer("There is nothing to take back.", "correct")
        return
    entry = turn.state.entries[-1]
    detail, key = _describe(turn, entry)
    turn.emit(ev.EntryTakenBack(turn.at_ms, entry, detail))
    if entry == "air":
        turn.stop_timer("air_age", key)
    turn.answer(f"Taken back: {detail}.", "correct")
    if entry == RESCUER_OUT:
        crew.still_inside(turn, int(key))
    elif entry == "air":
        _after_reading_taken_back(turn, key)
    else:
        taping.watch_again(turn)


def _order_out(turn: Turn, reading: Reading) -> None:
    order, reason = bad_air_order(reading)
    turn.say("both", ev.Urgency.ALARM, order, BAD_AIR)
    turn.say("both", ev.Urgency.ALARM, reason, BAD_AIR)
    emergencies.interrupt(turn, BAD_AIR, "program")


def _describe(turn: Turn, entry: str) -> tuple[str, str]:
    if entry == "air":
        row = turn.state.readings[-1]
        return reading_words(row.gas, format(row.value, "f"), row.place), f"{row.gas.value}@{row.place}"
    if entry == RESCUER_OUT:
        slot = turn.state.left_last
        return f"rescuer {count_words(slot)} is out", str(slot)
    if entry == "corner":
        return f"corner {count_words(turn.state.tapes[-1].down_m[-1][0])}", ""
    if entry == "canister":
        return f"canister {count_words(len(turn.state.canisters_ms))}", ""
    return f"grain at {turn.state.level}", ""


def _after_reading_taken_back(turn: Turn, key: str) -> None:
    """The reading before it counts again, with its own age; without a bad one the order to leave is withdrawn."""
    gas, place = key.split("@")
    before = latest(turn.state.readings, Gas(gas), place)
    due_ms = before.at_ms + minutes_ms(turn.scene.house.air_max_age_min) if before else turn.at_ms
    if before and judge(before.gas, before.value) is not Verdict.BAD and due_ms > turn.at_ms:
        turn.emit(ev.TimerStarted(turn.at_ms, "air_age", key, due_ms))
    if standing_bad(turn.state.readings) is None:
        emergencies.withdraw_kind(turn, BAD_AIR)


def _last_place(turn: Turn) -> str:
    if turn.state.inside:
        return "person"
    return turn.state.readings[-1].place if turn.state.readings else "hatch"


def _order_hint(turn: Turn, gas: Gas) -> str:
    if gas is Gas.OXYGEN or latest(turn.state.readings, Gas.OXYGEN):
        return ""
    return " Oxygen comes first: read it now."
