"""Addresses of this machine, and the sign on the console that tells a tablet where the board is."""

import fcntl
import io
import ipaddress
import socket
import struct

import segno

_SIOCGIFADDR = 0x8915
"""Linux: the IPv4 address of an interface (netdevice(7))."""


def lan_addresses() -> tuple[str, ...]:
    """IPv4 addresses of this machine that others can reach, private ones first."""
    found: list[ipaddress.IPv4Address] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _index, name in socket.if_nameindex():
            request = struct.pack("256s", name.encode()[:15])
            try:
                answer = fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, request)
            except OSError:  # the interface has no IPv4 address
                continue
            found.append(ipaddress.IPv4Address(answer[20:24]))
    useful = [address for address in found if not address.is_loopback]
    return tuple(str(address) for address in sorted(useful, key=lambda address: not address.is_private))


def own_names() -> frozenset[str]:
    """This machine's name, alone and as its network may know it, in small letters."""
    name = socket.gethostname().lower().partition(".")[0]
    return frozenset({name, f"{name}.local"}) if name else frozenset()


def qr_text(address: str) -> str:
    """The address as a QR code made of block characters, for a terminal."""
    drawn = io.StringIO()
    segno.make(address, error="m", micro=False).terminal(drawn, compact=True, border=2)
    return drawn.getvalue()


def console_sign(addresses: tuple[str, ...], pin: str, *, lan: bool) -> str:
    """What the console shows once: where the board is, the PIN, and a QR code of the first address.

    Args:
        addresses: whole addresses, http and port included.
        pin: shown here and nowhere else.
        lan: others on the network can open it.
    """
    lines = [
        f"Board: {'  or  '.join(addresses)}",
        f"Officer's PIN: {pin} (shown only here; without it the board is read-only)",
    ]
    if lan:
        lines.append("Anyone on this network can read the board. There is no encryption: use the crew's own network.")
        lines.append(qr_text(addresses[0]))
    return "\n".join(lines)
