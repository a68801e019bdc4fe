"""The board on a real socket of loopback: it starts, says where it is, bounds who comes, and lets go."""

import asyncio
import re
import socket
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
import zxingcpp

from assistant.board import Board, Settings
from assistant.board.network import console_sign, lan_addresses, qr_text
from assistant.clock import ManualClock
from assistant.errors import BoardError
from assistant.inputs import Part
from tests.board.lines import UpdateLine
from tests.board.rig import PIN, Rig
from tests.books import shipped_book
from tests.drills import VISIBLE


def board(**settings: object) -> Board:
    """A board that nobody feeds."""
    made = Settings(port=0, pin=PIN, **settings)  # type: ignore[arg-type]
    return Board(shipped_book(), lambda _item: None, ManualClock(), made)


def ask(port: int, request: bytes, patience_s: float = 5.0) -> bytes:
    """Send raw bytes and read until the other side closes or nothing more comes."""
    with socket.create_connection(("127.0.0.1", port), timeout=patience_s) as line:
        line.sendall(request)
        answer = b""
        try:
            while part := line.recv(65536):
                answer += part
        except TimeoutError:
            pass
        return answer


def test_a_port_in_use_is_an_error_with_a_way_out() -> None:
    """The second board on one port says so and how to choose another; the first goes on."""
    first = board()
    first.start()
    port = int(first.address.rsplit(":", 1)[1].strip("/"))
    second = Board(shipped_book(), lambda _item: None, ManualClock(), Settings(port=port, pin=PIN))
    with pytest.raises(BoardError, match=f"port {port}.*--port"):
        second.start()
    assert b"200 OK" in ask(port, f"GET /state HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
    first.close()


def test_closing_frees_the_port_and_ends_open_streams() -> None:
    """With a viewer still connected, closing takes under three seconds and the port can be used again."""
    one = board()
    one.start()
    port = int(one.address.rsplit(":", 1)[1].strip("/"))
    line = socket.create_connection(("127.0.0.1", port), timeout=3)
    line.sendall(f"GET /updates HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    assert b"200 OK" in line.recv(4096)
    one.close()
    line.settimeout(3)
    while line.recv(65536):
        pass
    line.close()
    again = Board(shipped_book(), lambda _item: None, ManualClock(), Settings(port=port, pin=PIN))
    again.start()
    again.close()


def test_loopback_alone_is_bound_without_lan() -> None:
    """Without --lan no address of the network answers; with it the address shown does."""
    local, shared = board(), board(lan=True)
    local.start()
    shared.start()
    try:
        assert local.address.startswith("http://127.0.0.1:")
        for host in lan_addresses():
            with pytest.raises(OSError, match="refused"):
                socket.create_connection((host, int(local.address.rsplit(":", 1)[1].strip("/"))), timeout=2).close()
        host, port = re.fullmatch(r"http://([0-9.]+):(\d+)/", shared.address).groups()  # type: ignore[union-attr]
        with socket.create_connection((host, int(port)), timeout=2) as line:
            line.sendall(f"GET /state HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n".encode())
            assert b"200 OK" in line.recv(4096)
    finally:
        local.close()
        shared.close()


def test_connections_over_the_bound_are_closed_and_those_within_go_on() -> None:
    """With a bound of four the fifth is closed at once; when one leaves, the next is let in."""
    one = board(most_connections=4)
    one.start()
    port = int(one.address.rsplit(":", 1)[1].strip("/"))
    request = f"GET /updates HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
    lines = []
    for _ in range(4):
        line = socket.create_connection(("127.0.0.1", port), timeout=3)
        line.sendall(request)
        assert b"200 OK" in line.recv(4096)
        lines.append(line)
    assert b"" == _closed(port, request)
    lines.pop().close()
    _until(lambda: b"200 OK" in ask(port, request, 0.5))
    for line in lines:
        line.close()
    one.close()


def test_a_connection_that_asks_for_nothing_is_closed() -> None:
    """Half a request, or none, does not hold a place for longer than the bound."""
    one = board(first_byte_s=0.3)
    one.start()
    port = int(one.address.rsplit(":", 1)[1].strip("/"))
    assert [b"", b""] == [_closed(port, sent) for sent in (b"", b"GET /state HTTP/1.1\r\nHost: x\r\n")]
    one.close()


@pytest.mark.parametrize(
    "request_bytes",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 60,
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + b"A: " + b"b" * 40_000 + b"\r\n\r\n",
        b"POST /session HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"\r\n\r\n\r\n\r\n",
    ],
    ids=["tls", "long header", "two lengths", "version", "empty lines"],
)
def test_what_is_not_http_is_refused_and_the_board_goes_on(request_bytes: bytes) -> None:
    """Foreign or oversized bytes get an error or nothing; the next viewer is served."""
    one = board(first_byte_s=0.5)
    one.start()
    port = int(one.address.rsplit(":", 1)[1].strip("/"))
    answer = ask(port, request_bytes, 2.0)
    assert not answer or answer.split()[1].startswith((b"4", b"5"))
    assert b"200 OK" in ask(port, f"GET /state HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
    one.close()


def test_a_board_whose_thread_has_ended_is_reported_and_started_again() -> None:
    """The loop hears once that the board has stopped, and once that it is back on the same port."""
    one = board()
    one.start()
    address = one.address
    one._server._server.should_exit = True  # type: ignore[union-attr]
    _until(lambda: not one._server.alive)
    heard = [item for now_ms in range(0, 12_000, 500) for item in one.poll(now_ms)]
    assert [("board", False), ("board", True)] == [(item.part, item.works) for item in heard if isinstance(item, Part)]
    assert address == one.address
    port = int(address.rsplit(":", 1)[1].strip("/"))
    assert b"200 OK" in ask(port, f"GET /state HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
    one.close()


def test_two_hundred_viewers_all_get_the_last_record(rig: Rig) -> None:
    """Two hundred open streams: each ends with the last record of twenty, and none is dropped."""

    async def watch(host: str, port: int, last: asyncio.Event) -> int:
        reader, writer = await asyncio.open_connection(host, port, limit=4_000_000)
        writer.write(f"GET /updates HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        seen = 0
        while not (last.is_set() and seen >= len(rig.records)):
            line = await reader.readline()
            assert line, "the stream ended"
            seen = int(line[4:]) if line.startswith(b"id: ") else seen
        writer.close()
        return seen

    async def work() -> list[int]:
        parts = urlsplit(rig.address)
        last = asyncio.Event()
        viewers = [asyncio.create_task(watch(parts.hostname or "", parts.port or 0, last)) for _ in range(200)]
        await asyncio.to_thread(rig.say, *VISIBLE[:20])
        last.set()
        return await asyncio.wait_for(asyncio.gather(*viewers), 30)

    seen = asyncio.run(work())
    assert (200, {len(rig.records)}) == (len(seen), set(seen))


def test_updates_over_a_socket_catch_up_by_number(tmp_path: Path) -> None:
    """A viewer that comes back with the number of its last record misses no line and gets none twice."""
    with Rig(tmp_path) as rig:
        rig.say_until(VISIBLE, "locked")
        with UpdateLine(rig.address, after=0) as line:
            first = line.until_n(len(rig.records))
        left = rig.say_until(VISIBLE[list(VISIBLE).index("padlocks and tags applied"):], "meter")
        assert left
        with UpdateLine(rig.address, after=first["n"]) as line:
            second = line.until_n(len(rig.records))
        numbers = {missed["n"] for missed in second["missed"]}
        assert set(range(first["n"] + 1, second["n"] + 1)) == numbers


def test_the_console_sign_holds_address_pin_and_warning_once() -> None:
    """Address and PIN for every board; for the network also that there is no encryption, and a QR code."""
    local = console_sign(("http://127.0.0.1:8470/",), "246810", lan=False)
    assert ("http://127.0.0.1:8470/" in local, 1, "█" in local) == (True, local.count("246810"), False)
    shared = console_sign(("http://192.168.7.9:8470/",), "246810", lan=True)
    assert ("no encryption" in shared, 1) == (True, shared.count("246810"))


def test_the_qr_code_on_the_console_reads_as_the_address() -> None:
    """An independent reader (zxing-cpp) gets the address back from the characters that are printed."""
    address = "http://192.168.107.209:8470/"
    rows = [re.sub(r"\x1b\[[0-9;]*m", "", row) for row in qr_text(address).splitlines() if row.strip()]
    halves = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}
    width = max(len(row) for row in rows)
    grid = [[halves[cell][half] for cell in row.ljust(width)] for row in rows for half in (0, 1)]
    picture = np.kron(255 * (1 - np.array(grid, dtype=np.uint8)), np.ones((6, 6), dtype=np.uint8))
    found = zxingcpp.read_barcode(picture) or zxingcpp.read_barcode(255 - picture)
    assert found is not None
    assert address == found.text


def _closed(port: int, sent: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=3) as line:
        try:
            line.sendall(sent)
            return line.recv(4096)
        except ConnectionError:
            return b""


def _until(true: Callable[[], bool], tries: int = 200) -> None:
    async def wait() -> None:
        for _ in range(tries):
            if true():
                return
            await asyncio.sleep(0.02)
        raise TimeoutError("It did not get there.")

    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, wait()).result()
