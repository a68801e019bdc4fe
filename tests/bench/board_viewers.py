"""Viewers of a board in a process of their own: `python -m tests.bench.board_viewers ADDRESS COUNT`.

Each asks for updates and notes when each record's number arrived. On end of input all leave, and one JSON line is
printed: for each viewer its arrivals (record number, seconds since the epoch) and how many beats it heard.
"""

import asyncio
import json
import sys
import time
from urllib.parse import urlsplit

LONGEST_LINE = 4_000_000


class Viewer:
    """One open stream."""

    def __init__(self) -> None:
        self.arrivals: list[tuple[int, float]] = []
        self.beats = 0
        self.sees = asyncio.Event()

    async def watch(self, host: str, port: int) -> None:
        """Read until cancelled."""
        reader, writer = await asyncio.open_connection(host, port, limit=LONGEST_LINE)
        writer.write(f"GET /updates HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        while line := await reader.readline():
            if line.startswith(b"id: "):
                self.arrivals.append((int(line[4:]), time.time()))
                self.sees.set()
            self.beats += line.startswith(b"event: beat")
        raise ConnectionError("The board closed the stream.")


async def main(address: str, count: int) -> None:
    """Watch with so many viewers until end of input."""
    parts = urlsplit(address)
    viewers = [Viewer() for _ in range(count)]
    work = [asyncio.create_task(viewer.watch(parts.hostname or "", parts.port or 80)) for viewer in viewers]
    await asyncio.gather(*(viewer.sees.wait() for viewer in viewers))
    print("watching", flush=True)
    await asyncio.to_thread(sys.stdin.read)
    lost = sum(task.done() for task in work)
    for task in work:
        task.cancel()
    rows = [{"arrivals": viewer.arrivals, "beats": viewer.beats} for viewer in viewers]
    print(json.dumps({"lost": lost, "viewers": rows}), flush=True)


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], int(sys.argv[2])))
