"""`station`, `standby`, `run --broker`: what is wrong has its sentence and its exit status."""

from pathlib import Path

import pytest

from assistant.cli import main
from assistant.errors import LinkError
from assistant.stations import link
from assistant.stations.power import battery_percent
from tests.stations.real_broker import free_port

NOWHERE = "mqtt://127.0.0.1:1"


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """The one sentence on standard error."""
    text = capsys.readouterr().err.strip()
    assert 1 == len(text.splitlines()), text
    return text


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["station"], 2, "Name the broker"),
        (["station", "--broker", NOWHERE], 12, "'' is no name for a station"),
        (["station", "--broker", NOWHERE, "--name", "Big Bob"], 12, "is no name for a station"),
        (["station", "--broker", "mqtt://10.0.0.9", "--name", "one"], 12, "no credentials"),
        (["station", "--broker", "gopher://x", "--name", "one"], 12, "is no broker"),
        (["station", "--credentials", "/nowhere"], 12, "holds no credentials"),
        (["standby", "--broker", NOWHERE, "--journal", "/tmp/never.jsonl"], 12, "There is no broker"),
        (["station", "--broker", NOWHERE, "--name", "one"], 12, "There is no broker at mqtt://127.0.0.1:1"),
        (["station", "credentials", "/proc/x", "one:inside", "--broker", "localhost"], 12, "cannot be written"),
        (["station", "credentials", "{}", "one", "--broker", "localhost"], 2, "write NAME:inside"),
        (["station", "credentials", "{}", "one:chief", "--broker", "localhost"], 12, "write NAME:inside"),
        (["station", "credentials", "{}", "one:inside"], 12, "Where will the broker be"),
        (["run", "--headset", "one", "--journal", "{}/x.jsonl"], 2, "write NAME:inside"),
        (["run", "--keyboard", "--mute", "--no-board", "--broker", "mqtt://10.0.0.9", "--journal", "{}/x.jsonl"], 12, "no credentials"),
    ],
)
def test_what_is_wrong_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], status: int, words: str
) -> None:
    """One sentence that says what to do, and the status of its kind."""
    assert status == main([word.format(tmp_path) for word in arguments])
    assert words in said(capsys)
    assert not (tmp_path / "x.jsonl").exists() or "--headset" in arguments


def test_credentials_are_made_by_one_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And it says how the broker is started and who gets what."""
    words = ["station", "credentials", str(tmp_path), "one:inside", "officer:outside", "command:lead", "--broker", "localhost"]
    assert 0 == main(words)
    out = capsys.readouterr().out
    assert f"mosquitto -c {tmp_path / 'broker' / 'mosquitto.conf'}" in out
    assert "one, officer, command" in out


def test_a_run_whose_broker_is_dead_goes_on_without_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No network: the incident is led for the crew at this machine, and it says that the headsets are cut off."""
    script = tmp_path / "lines.txt"
    script.write_text("one person trapped\n/quit\n")
    with script.open() as stream:
        monkeypatch.setattr("sys.stdin", stream)
        status = main([
            "run", "--keyboard", "--mute", "--no-board", "--drill", "--journal", str(tmp_path / "x.jsonl"),
            "--broker", f"mqtt://127.0.0.1:{free_port()}",
        ])  # fmt: skip
    out = capsys.readouterr().out
    assert 10 == status
    assert "Is the person visible" in out
    assert "There is no broker at" in out


def test_without_the_extra_package_it_says_which(monkeypatch: pytest.MonkeyPatch) -> None:
    """The base install stays small; who shares an incident needs one more package."""
    monkeypatch.setitem(__import__("sys").modules, "paho.mqtt.client", None)
    with pytest.raises(LinkError, match=r"pip install 'bin-rescue-assistant\[stations\]'"):
        link.MqttWire(link.Broker("127.0.0.1", 1), "one", [])


def test_the_battery_is_read_where_the_system_says(tmp_path: Path) -> None:
    """The least full of several; mains, nonsense and nothing are no battery."""
    assert battery_percent(tmp_path) is None
    for name, sort, capacity in (("AC", "Mains", "1"), ("BAT0", "Battery", "64\n"), ("BAT1", "Battery", "31"), ("x", "Battery", "?")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "type").write_text(f"{sort}\n")
        (tmp_path / name / "capacity").write_text(capacity)
    assert 31 == battery_percent(tmp_path)
