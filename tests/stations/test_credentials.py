"""Credentials made by one command: who may connect, who may say what, and what is answered to everybody else."""

import json
import stat
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.clock import SystemClock
from assistant.errors import LinkError
from assistant.stations import messages as ms
from assistant.stations.credentials import configuration, make_credentials, read_credentials
from assistant.stations.finding import find_incident
from assistant.stations.follower import topics_of
from assistant.stations.link import Broker, Keys, MqttWire, broker_at
from protocol.commands import Role
from tests.stations.real_broker import RealBroker, free_port
from tests.stations.site import INCIDENT

CREW = [("one", "inside"), ("two", "inside"), ("officer", "outside"), ("command", "lead"), ("spare", "standby")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A department's credentials for a broker on this machine."""
    made = tmp_path_factory.mktemp("department")
    make_credentials(made, ["localhost"], CREW)
    return made


@pytest.fixture(scope="module")
def secure(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RealBroker]:
    """A broker with exactly the settings that were made, on a free port."""
    port = free_port()
    settings = [f"listener {port} 127.0.0.1", *configuration(folder / "broker").splitlines()[1:]]
    with RealBroker(tmp_path_factory.mktemp("broker"), port, settings) as broker:
        yield broker


def dial(broker: RealBroker, folder: Path, name: str, topics: list[str] | None = None, host: str = "localhost") -> MqttWire:
    """Connect with the credentials of a station."""
    wire = MqttWire(Broker(host, broker.port, read_credentials(folder / name).keys), name, topics or [])
    wire.open()
    return wire


def test_every_certificate_is_of_the_department_by_openssl_too(folder: Path) -> None:
    """Reference: the openssl program verifies each, for its own purpose and no other."""
    for name, purpose in (("broker", "sslserver"), *((name, "sslclient") for name, _sort in CREW)):
        for asked in ("sslserver", "sslclient"):
            done = subprocess.run(
                ["openssl", "verify", "-purpose", asked, "-CAfile", folder / "authority.pem", folder / name / "certificate.pem"],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            assert (asked == purpose) == (done.returncode == 0), done.stderr


def test_no_key_can_be_read_by_anybody_else(folder: Path) -> None:
    """From the first moment readable by its owner only; the department's own key is in no station's folder."""
    for path in folder.rglob("*"):
        if path.is_file():
            assert 0 == stat.S_IMODE(path.stat().st_mode) & 0o077, path
    secret = (folder / "authority-key.pem").read_bytes()
    assert not any(secret in path.read_bytes() for name, _ in CREW for path in (folder / name).iterdir())


def test_a_second_call_adds_and_keeps(tmp_path: Path) -> None:
    """The authority and the keys stay; a station that is gone loses its right at the broker."""
    make_credentials(tmp_path, ["broker.local"], [("one", "inside"), ("command", "lead")])
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.pem")}
    assert ["command", "two"] == make_credentials(tmp_path, [], [("one", "gone"), ("two", "both")])
    assert before.items() <= {path: path.read_bytes() for path in tmp_path.rglob("*.pem")}.items()
    access = (tmp_path / "broker" / "acl").read_text()
    assert "user one" not in access
    assert "user two" in access
    assert {"command": Role.OUTSIDE, "two": Role.BOTH} == read_credentials(tmp_path / "command").roles


def test_a_station_with_credentials_is_let_in_and_writes_under_its_own_name_only(secure: RealBroker, folder: Path) -> None:
    """What "one" sends as "two", or as the coordinator, reaches nobody."""
    clock = SystemClock()
    lead = dial(secure, folder, "command", [ms.topic(INCIDENT, "from", "+", "say"), ms.topic(INCIDENT, "all", "#")])
    one = dial(secure, folder, "one", topics_of(INCIDENT, "one"))
    clock.wait_ms(300)
    for topic in ("from/two/say", "all/fence", "to/two", "from/one/say"):
        one.send(ms.topic(INCIDENT, *topic.split("/")), topic.encode())
    lead.send(ms.topic(INCIDENT, "all", "records"), b"records")
    lead.send(ms.topic(INCIDENT, "to", "two"), b"for two")
    lead.send(ms.topic(INCIDENT, "to", "one"), b"for one")
    clock.wait_ms(700)
    assert [b"from/one/say", b"records"] == sorted(came.payload for came in lead.take())
    assert [b"for one", b"records"] == sorted(came.payload for came in one.take())
    for wire in (lead, one):
        wire.close()


def test_who_has_no_credentials_or_those_of_another_department_is_refused(
    secure: RealBroker, folder: Path, tmp_path: Path
) -> None:
    """No certificate, one of another authority, a broker of another authority, a wrong address: each has its sentence."""
    with pytest.raises(LinkError, match=r"refused|cannot be reached|does not answer"):
        MqttWire(Broker("127.0.0.1", secure.port), "one", []).open()
    make_credentials(tmp_path, ["localhost"], [("one", "inside")])
    with pytest.raises(LinkError, match="certificate that is not of this department"):
        dial(secure, tmp_path, "one")
    mine, theirs = read_credentials(folder / "one").keys, read_credentials(tmp_path / "one").keys
    mixed = Keys(mine.authority, theirs.certificate, theirs.key)
    with pytest.raises(LinkError, match=r"refused|cannot be reached|no secure connection|does not answer"):
        MqttWire(Broker("localhost", secure.port, mixed), "one", []).open()
    with pytest.raises(LinkError, match="certificate that is not of this department"):
        dial(secure, folder, "one", host="127.0.0.1")


def test_a_station_that_is_gone_hears_and_says_nothing(tmp_path: Path) -> None:
    """Its certificate is still valid; the broker's list is not."""
    make_credentials(tmp_path, ["localhost"], [("one", "inside"), ("two", "inside"), ("command", "lead")])
    make_credentials(tmp_path, [], [("one", "gone")])
    port = free_port()
    settings = [f"listener {port} 127.0.0.1", *configuration(tmp_path / "broker").splitlines()[1:]]
    (tmp_path / "conf").mkdir()
    with RealBroker(tmp_path / "conf", port, settings) as broker:
        lead = dial(broker, tmp_path, "command", [ms.topic(INCIDENT, "from", "+", "say")])
        gone = dial(broker, tmp_path, "one", topics_of(INCIDENT, "one"))
        SystemClock().wait_ms(300)
        gone.send(ms.topic(INCIDENT, "from", "one", "say"), b"still here")
        lead.send(ms.topic(INCIDENT, "all", "records"), b"records")
        SystemClock().wait_ms(700)
        assert [] == lead.take()
        assert [] == gone.take()
        lead.close()
        gone.close()


def test_an_incident_that_is_not_open_is_named(secure: RealBroker, folder: Path) -> None:
    """A station that finds none says how one is begun; of several it asks which."""
    own = read_credentials(folder / "one")
    broker = Broker("localhost", secure.port, own.keys)
    clock = SystemClock()
    with pytest.raises(LinkError, match="No incident is open"):
        find_incident(broker, "one", clock, None)
    assert "x" == find_incident(broker, "one", clock, "x")
    lead = dial(secure, folder, "command")
    for name, closed in (("a", False), ("b", True), ("c", False)):
        message = ms.Lead(1, "command", 1, "", 0, closed)
        lead.send(ms.topic(name, "all", "lead"), ms.to_bytes(message), keep=True)
    with pytest.raises(LinkError, match="Several incidents are open: a, c"):
        find_incident(broker, "one", clock, None)
    for name in ("a", "b", "c"):
        lead.send(ms.topic(name, "all", "lead"), b"", keep=True)
    lead.close()


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("mqtt://10.1.2.3", "is not this machine, and there are no credentials"),
        ("10.1.2.3", "is not this machine"),
        ("mqtts://10.1.2.3", "needs --credentials"),
        ("http://10.1.2.3", "is no broker"),
        ("mqtt://127.0.0.1:x", "is no broker"),
        ("mqtt://", "is no broker"),
        ("", "is no broker"),
    ],
)
def test_without_credentials_only_this_machine_is_reached(url: str, words: str) -> None:
    """Everything else is refused before a connection is tried."""
    with pytest.raises(LinkError, match=words):
        broker_at(url)


def test_credentials_never_travel_unencrypted(folder: Path) -> None:
    """An address beyond this machine is secure or refused."""
    keys = read_credentials(folder / "one").keys
    assert Broker("10.1.2.3", 8883, keys) == broker_at("10.1.2.3", keys)
    assert Broker("10.1.2.3", 9000, keys) == broker_at("mqtts://10.1.2.3:9000", keys)
    with pytest.raises(LinkError, match="is not encrypted"):
        broker_at("mqtt://10.1.2.3", keys)


@pytest.mark.parametrize("name", ["", "One", "a b", "a/b", "a#", "+", "x" * 40, "ä"])
def test_a_name_that_could_change_a_topic_is_refused(tmp_path: Path, name: str) -> None:
    """Small letters, digits and hyphens."""
    with pytest.raises(LinkError, match="is no name for a station"):
        make_credentials(tmp_path, ["localhost"], [(name, "inside")])


@pytest.mark.parametrize(
    ("file", "content", "words"),
    [
        ("station.json", None, "holds no credentials"),
        ("station.json", "nonsense", "damaged credentials"),
        ("station.json", "[]", "damaged credentials"),
        ("key.pem", None, "lacks key.pem"),
    ],
)
def test_a_folder_that_is_not_whole_says_what_is_missing(
    tmp_path: Path, file: str, content: str | None, words: str
) -> None:
    """With the command that makes it again."""
    make_credentials(tmp_path, ["localhost"], [("one", "inside")])
    path = tmp_path / "one" / file
    path.unlink()
    if content is not None:
        path.write_text(content)
    with pytest.raises(LinkError, match=words):
        read_credentials(tmp_path / "one")


def test_the_first_call_needs_to_know_where_the_broker_is(tmp_path: Path) -> None:
    """And a sort that is none is named."""
    with pytest.raises(LinkError, match="Where will the broker be"):
        make_credentials(tmp_path, [], [("one", "inside")])
    with pytest.raises(LinkError, match="'one:chief'"):
        make_credentials(tmp_path, ["localhost"], [("one", "chief")])
    assert not json.loads((tmp_path / "stations.json").read_text()) if (tmp_path / "stations.json").exists() else True
