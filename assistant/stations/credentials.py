"""Credentials for a department's broker and stations, made by one command, offline.

Each station has a certificate whose name is its name; the broker lets it write under that name and nothing else. The
certificates are valid from 2000 to 2099: a small computer without a battery for its clock may start in any year.
Taking a station out of the list takes its right away, whatever it still holds.
"""

import json
import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.errors import LinkError
from assistant.stations.link import TLS_PORT, Keys
from assistant.stations.messages import ROOT, checked_name
from protocol.commands import Role

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

LEADERS = ("lead", "standby")
"""What leads an incident, or may; every other station has a role."""
FROM, UNTIL = datetime(2000, 1, 1, tzinfo=UTC), datetime(2099, 12, 31, tzinfo=UTC)
AUTHORITY = "authority.pem"
LIST = "stations.json"
OWN = "station.json"


@dataclass(frozen=True, slots=True)
class Credentials:
    """One station's folder as read."""

    name: str
    sort: str
    """inside, outside, both, lead or standby."""
    url: str
    keys: Keys
    roles: Mapping[str, Role]
    """Everybody of the department by name; known to those who lead."""


def read_credentials(folder: Path) -> Credentials:
    """A station's own folder.

    Raises:
        LinkError: if it is none or a file is missing.
    """
    try:
        own = json.loads((folder / OWN).read_text(encoding="utf-8"))
        listed = json.loads((folder / LIST).read_text(encoding="utf-8")) if (folder / LIST).exists() else {}
        roles = {checked_name(name): Role.OUTSIDE if sort in LEADERS else Role(sort) for name, sort in listed.items()}
        keys = Keys(folder / AUTHORITY, folder / "certificate.pem", folder / "key.pem")
        made = Credentials(checked_name(own["name"]), str(own["sort"]), str(own["url"]), keys, roles)
    except OSError as error:
        raise LinkError(f"{folder} holds no credentials ({error.strerror}). Make them with: {HOW}") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise LinkError(f"{folder} holds damaged credentials ({error}). Make them again with: {HOW}") from error
    missing = [path.name for path in (keys.authority, keys.certificate, keys.key) if not path.is_file()]
    if missing:
        raise LinkError(f"{folder} lacks {', '.join(missing)}. Make the credentials again with: {HOW}")
    return made


HOW = "bin-rescue station credentials"


def make_credentials(folder: Path, hosts: Sequence[str], stations: Sequence[tuple[str, str]]) -> list[str]:
    """Make what is missing and list what is wanted; gives the names in the list.

    Args:
        folder: of the department; a second call adds stations and keeps the authority.
        hosts: names and addresses of the broker; empty on a later call.
        stations: name and sort (inside, outside, both, lead, standby or "gone") of each.

    Raises:
        LinkError: if a name or sort is none, the broker's address is not known, or the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        listed = _listed(folder, stations)
        places = list(hosts) or _known_hosts(folder)
        authority = _Authority(folder)
        _make_broker(folder / "broker", authority, places, listed)
        for name, sort in listed.items():
            _make_station(folder / name, authority, name, sort, f"mqtts://{places[0]}:{TLS_PORT}", listed)
        _write(folder / LIST, json.dumps(listed, indent=1).encode())
    except OSError as error:
        raise LinkError(f"{folder} cannot be written ({error.strerror}). Choose another folder.") from error
    return list(listed)


class _Authority:
    """The department's own certificate authority; its key never leaves the folder."""

    def __init__(self, folder: Path) -> None:
        try:
            from cryptography import x509  # noqa: PLC0415  an extra
            from cryptography.hazmat.primitives import hashes, serialization  # noqa: PLC0415
            from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415
        except ImportError as error:
            raise LinkError("Credentials need a package: pip install 'bin-rescue-assistant[stations]'.") from error
        self._x509, self._hashes, self._serialization, self._ec = x509, hashes, serialization, ec
        key_path, path = folder / "authority-key.pem", folder / AUTHORITY
        if key_path.exists() and path.exists():
            self._key: Any = serialization.load_pem_private_key(key_path.read_bytes(), None)
            self.pem = path.read_bytes()
            self._name = x509.load_pem_x509_certificate(self.pem).subject
            return
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._name = self._named("bin rescue stations")
        made = self._builder(self._name, self._key).add_extension(x509.BasicConstraints(ca=True, path_length=0), True)
        usage = x509.KeyUsage(
            digital_signature=True, key_cert_sign=True, crl_sign=True, content_commitment=False, key_encipherment=False,
            data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
        )  # fmt: skip
        self.pem = self._pem(made.add_extension(usage, True).sign(self._key, hashes.SHA256()))
        _write(key_path, self._key_pem(self._key))
        _write(path, self.pem)

    def issue(self, folder: Path, name: str, hosts: Sequence[str] = ()) -> None:
        """A key and certificate for a station, or for a broker at `hosts`."""
        x509 = self._x509
        key = self._ec.generate_private_key(self._ec.SECP256R1())
        usage = x509.oid.ExtendedKeyUsageOID
        made = self._builder(self._named(name), key)
        made = made.add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        sort = usage.SERVER_AUTH if hosts else usage.CLIENT_AUTH
        made = made.add_extension(x509.ExtendedKeyUsage([sort]), False)
        if hosts:
            made = made.add_extension(x509.SubjectAlternativeName([self._host(host) for host in hosts]), False)
        _write(folder / "key.pem", self._key_pem(key))
        _write(folder / "certificate.pem", self._pem(made.sign(self._key, self._hashes.SHA256())))
        _write(folder / AUTHORITY, self.pem)

    def _builder(self, subject: Any, key: Any) -> Any:
        x509 = self._x509
        made = x509.CertificateBuilder().subject_name(subject).issuer_name(self._name).public_key(key.public_key())
        made = made.serial_number(x509.random_serial_number()).not_valid_before(FROM).not_valid_after(UNTIL)
        identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
        issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key())
        return made.add_extension(identifier, False).add_extension(issuer, False)

    def _named(self, name: str) -> Any:
        return self._x509.Name([self._x509.NameAttribute(self._x509.oid.NameOID.COMMON_NAME, name)])

    def _host(self, host: str) -> Any:
        try:
            return self._x509.IPAddress(ip_address(host))
        except ValueError:
            return self._x509.DNSName(host)

    def _pem(self, certificate: "Certificate") -> bytes:
        return certificate.public_bytes(self._serialization.Encoding.PEM)

    def _key_pem(self, key: Any) -> bytes:
        forms = self._serialization
        made: bytes = key.private_bytes(forms.Encoding.PEM, forms.PrivateFormat.PKCS8, forms.NoEncryption())
        return made


def _listed(folder: Path, stations: Sequence[tuple[str, str]]) -> dict[str, str]:
    path = folder / LIST
    listed: dict[str, str] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    for name, sort in stations:
        if checked_name(name) == "broker" or sort not in {*LEADERS, *Role, "gone"}:
            raise LinkError(f"'{name}:{sort}': write NAME:inside, outside, both, lead, standby or gone.")
        listed.pop(name, None)
        if sort != "gone":
            listed[name] = sort
    return listed


def _known_hosts(folder: Path) -> list[str]:
    path = folder / "broker" / "hosts.json"
    if not path.exists():
        raise LinkError("Where will the broker be? Name its address: --broker HOST (several are possible).")
    return [str(host) for host in json.loads(path.read_text(encoding="utf-8"))]


def _make_broker(folder: Path, authority: _Authority, hosts: Sequence[str], listed: Mapping[str, str]) -> None:
    folder.mkdir(exist_ok=True, mode=0o700)
    if not (folder / "hosts.json").exists() or json.loads((folder / "hosts.json").read_text()) != list(hosts):
        authority.issue(folder, "broker", hosts)
    _write(folder / "hosts.json", json.dumps(list(hosts)).encode())
    _write(folder / "acl", access_list(listed).encode())
    _write(folder / "mosquitto.conf", configuration(folder.resolve()).encode())
    if os.geteuid() == 0:
        _give_to_broker(folder)


def _make_station(
    folder: Path, authority: _Authority, name: str, sort: str, url: str, listed: Mapping[str, str]
) -> None:
    folder.mkdir(exist_ok=True, mode=0o700)
    if not (folder / "key.pem").exists():
        authority.issue(folder, name)
    _write(folder / OWN, json.dumps({"name": name, "sort": sort, "url": url}, indent=1).encode())
    if sort in LEADERS:
        _write(folder / LIST, json.dumps(listed, indent=1).encode())


def access_list(listed: Mapping[str, str]) -> str:
    """Who may read and write what, for the broker: a headset writes under its own name only."""
    lines: list[str] = []
    for name, sort in listed.items():
        lines.append(f"user {name}")
        if sort in LEADERS:
            lines.append(f"topic readwrite {ROOT}/#")
        else:
            lines += [f"topic read {ROOT}/+/all/#", f"topic read {ROOT}/+/to/{name}"]
            lines.append(f"topic write {ROOT}/+/from/{name}/#")
        lines.append("")
    return "\n".join(lines)


def configuration(folder: Path) -> str:
    """The broker's settings: encrypted only, certificates only, nothing anonymous."""
    return "\n".join((
        f"listener {TLS_PORT}",
        f"cafile {folder / AUTHORITY}",
        f"certfile {folder / 'certificate.pem'}",
        f"keyfile {folder / 'key.pem'}",
        "require_certificate true",
        "use_identity_as_username true",
        "allow_anonymous false",
        f"acl_file {folder / 'acl'}",
        "tls_version tlsv1.2",
        "message_size_limit 5000000",
        "persistence false",
        "",
    ))  # fmt: skip


def _give_to_broker(folder: Path) -> None:
    """Run by root, the broker gives up its rights before it reads its key: the files become its user's."""
    for path in (folder, *folder.iterdir()):
        try:
            shutil.chown(path, "mosquitto", "mosquitto")
        except LookupError:  # no such user here: whoever runs the broker copies the folder
            return


def _write(path: Path, content: bytes) -> None:
    """Readable by its owner only, from the first moment."""
    path.unlink(missing_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
