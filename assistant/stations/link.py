"""The line to the broker: one MQTT 5 connection that keeps itself up, and a queue of what came.

The client's own thread only puts into the queue. Everything that matters is numbered and sent again by whoever needs
it, so a session at the broker is never relied on: a broker may lose its memory.
"""

import ssl
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import urlsplit

from assistant.errors import LinkError
from assistant.stations.messages import MOST_BYTES

if TYPE_CHECKING:
    from paho.mqtt.client import Client

PLAIN_PORT, TLS_PORT = 1883, 8883
KEEPALIVE_S = 4
"""The broker tells of a lost station after one and a half of these."""
ANSWER_S = 5.0
LONGEST_RETRY_S = 4
MOST_WAITING = 10_000
LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
DISPLACED = 142
"""MQTT 5 reason code: another client took this name."""


@dataclass(frozen=True, slots=True)
class Keys:
    """A station's credentials, as files."""

    authority: Path
    certificate: Path
    key: Path


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how it is reached."""

    host: str
    port: int
    keys: Keys | None = None

    @property
    def url(self) -> str:
        """As a person types it."""
        return f"{'mqtts' if self.keys else 'mqtt'}://{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class Came:
    """A message that arrived."""

    topic: str
    payload: bytes
    kept: bool
    """The broker had kept it: it may be old."""


@dataclass(frozen=True, slots=True)
class Will:
    """What the broker says for this client when it is lost."""

    topic: str
    payload: bytes


class Wire(Protocol):
    """A line to the broker as its users see it."""

    @property
    def up(self) -> bool:
        """Whether the broker answers."""
        ...

    def send(self, topic: str, payload: bytes, *, keep: bool = False, sure: bool = True) -> None:
        """Send now or not at all."""
        ...

    def take(self) -> list[Came]:
        """What came since the last call."""
        ...

    def close(self) -> None:
        """Say goodbye."""
        ...


def broker_at(url: str, keys: Keys | None = None) -> Broker:
    """Where a URL points: mqtt://HOST[:PORT], or mqtts:// with credentials.

    Raises:
        LinkError: if it is no such URL, or points beyond this machine without credentials.
    """
    try:
        parts = urlsplit(url if "://" in url else f"mqtt://{url}")
        port = parts.port
    except ValueError as error:
        raise LinkError(f"'{url}' is no broker: {error}. Write mqtt://HOST or mqtts://HOST.") from error
    host = parts.hostname or ""
    if parts.scheme not in {"mqtt", "mqtts"} or not host:
        raise LinkError(f"'{url}' is no broker. Write mqtt://HOST or mqtts://HOST.")
    if parts.scheme == "mqtts" and keys is None:
        raise LinkError("mqtts:// needs --credentials FOLDER. Make them with: bin-rescue station credentials.")
    if keys is None and host not in LOOPBACK:
        raise LinkError(
            f"{host} is not this machine, and there are no credentials: anybody there could confirm a step. "
            "Make them with: bin-rescue station credentials."
        )
    secure = keys if parts.scheme == "mqtts" or "://" not in url else None
    if secure is None and host not in LOOPBACK:
        raise LinkError(f"mqtt://{host} is not encrypted. Write mqtts://{host} with --credentials.")
    return Broker(host, port or (TLS_PORT if secure else PLAIN_PORT), secure)


class MqttWire:
    """One connection to the broker."""

    def __init__(self, broker: Broker, name: str, topics: Sequence[str], will: Will | None = None) -> None:
        """Prepare a connection.

        Args:
            broker: where it is.
            name: the client's, different from every other's at this broker, in whatever incident.
            topics: to listen to.
            will: what the broker says when this client is lost.

        Raises:
            LinkError: if the package for it is not installed or the credentials cannot be read.
        """
        self._broker = broker
        self._name = name
        self._topics = [(topic, 1) for topic in topics]
        self._came: SimpleQueue[Came] = SimpleQueue()
        self._answered = Event()
        self._refused = ""
        self._up = False
        self.displaced = False
        """Another device uses this name."""
        self._client = _client(name, broker, will)
        self._client.on_connect = self._connected
        self._client.on_disconnect = self._disconnected
        self._client.on_message = self._message

    @property
    def up(self) -> bool:
        """Whether the broker answers."""
        return self._up

    def open(self) -> None:
        """Connect, and keep connected from then on.

        Raises:
            LinkError: with the reason, if the first connection does not come about.
        """
        _try(self._broker, lambda: self._client.connect(self._broker.host, self._broker.port, KEEPALIVE_S, **_fresh()))
        self._client.loop_start()
        if not self._answered.wait(ANSWER_S) or self._refused:
            reason = self._refused or "it does not answer as a broker"
            self.close()
            raise LinkError(f"The broker at {self._broker.url} refused {self._name}: {reason}. Check the credentials.")

    def open_later(self) -> None:
        """Connect as soon as the broker is there."""
        self._client.connect_async(self._broker.host, self._broker.port, KEEPALIVE_S, **_fresh())
        self._client.loop_start()

    def send(self, topic: str, payload: bytes, *, keep: bool = False, sure: bool = True) -> None:
        """Send now or not at all: what must arrive is sent again by whoever needs it."""
        if self._up:
            self._client.publish(topic, payload, qos=1 if sure else 0, retain=keep)

    def take(self) -> list[Came]:
        """What came since the last call."""
        found: list[Came] = []
        while len(found) < MOST_WAITING:
            try:
                found.append(self._came.get_nowait())
            except Empty:
                break
        return found

    def close(self) -> None:
        """Say goodbye; the last will is not sent."""
        self._client.disconnect()
        self._client.loop_stop()
        self._up = False

    def _connected(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refused = str(reason).lower()
        else:
            self._refused = ""
            if self._topics:
                client.subscribe(self._topics)
            self._up = True
        self._answered.set()

    def _disconnected(self, _client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self._up = False
        self.displaced = self.displaced or getattr(reason, "value", 0) == DISPLACED

    def _message(self, _client: Any, _data: Any, message: Any) -> None:
        if self._came.qsize() < MOST_WAITING:
            self._came.put(Came(message.topic, message.payload, bool(message.retain)))


def _client(name: str, broker: Broker, will: Will | None) -> "Client":
    try:
        from paho.mqtt.client import Client  # noqa: PLC0415  an extra: only who uses it needs it
        from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion  # noqa: PLC0415
    except ImportError as error:
        raise LinkError(
            "Several stations need one more package: pip install 'bin-rescue-assistant[stations]'."
        ) from error
    client = Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=MQTTProtocolVersion.MQTTv5)
    client.reconnect_delay_set(min_delay=1, max_delay=LONGEST_RETRY_S)
    client.connect_timeout = ANSWER_S
    client.max_queued_messages_set(MOST_WAITING)
    if will:
        client.will_set(will.topic, will.payload, qos=1, retain=True)
    if broker.keys:
        keys = broker.keys
        _try(broker, lambda: client.tls_set(str(keys.authority), str(keys.certificate), str(keys.key)))
    return client


def _fresh() -> dict[str, Any]:
    from paho.mqtt.packettypes import PacketTypes  # noqa: PLC0415
    from paho.mqtt.properties import Properties  # noqa: PLC0415

    properties: Any = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.MaximumPacketSize = MOST_BYTES
    return {"clean_start": True, "properties": properties}


def _try(broker: Broker, work: Callable[[], object]) -> None:
    """Do what reaches out, and say in a sentence what went wrong."""
    try:
        work()
    except ssl.SSLCertVerificationError as error:
        raise LinkError(
            f"The broker at {broker.url} shows a certificate that is not of this department "
            f"({error.verify_message}). Check the address, and that broker and station were made together."
        ) from error
    except ssl.SSLError as error:
        raise LinkError(f"{broker.url}: no secure connection ({error.reason or error}). Check the port.") from error
    except ConnectionRefusedError as error:
        raise LinkError(f"There is no broker at {broker.url}. Start mosquitto there, or check the address.") from error
    except OSError as error:
        reason = error.strerror or error
        raise LinkError(f"The broker at {broker.url} cannot be reached ({reason}). Check the network.") from error
