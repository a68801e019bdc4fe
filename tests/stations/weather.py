"""A network namespace whose only way out is a bad radio link: packets are lost, delayed, reordered, or all of them stopped.

Two TUN devices, one here and one in the namespace, and a thread that carries packets between them. Where the kernel has
no `netem` this is the same at the level of IP packets: TCP inside sees loss, jitter and reordering, and repairs them.
"""

import fcntl
import heapq
import os
import random
import select
import struct
import subprocess
import threading
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import Self

from assistant.clock import stopwatch_s

SET_TUN = 0x400454CA
TUN, NO_HEADER = 0x0001, 0x1000
LONGEST_PACKET = 65_536
_NUMBERS = count()


def possible() -> bool:
    """Whether this machine lets us make namespaces and TUN devices."""
    if os.geteuid() != 0 or not Path("/dev/net/tun").exists():
        return False
    name = f"br-try-{os.getpid()}"
    try:
        made = subprocess.run(["ip", "netns", "add", name], capture_output=True, check=False)
        if made.returncode:
            return False
        subprocess.run(["ip", "netns", "del", name], capture_output=True, check=False)
        os.close(_tun(f"brt{os.getpid() % 10_000}"))
    except OSError:
        return False
    return True


class Namespace:
    """One station's place on the network."""

    def __init__(self, *, loss: float = 0.0, delay_s: float = 0.0, jitter_s: float = 0.0, seed: int = 0) -> None:
        """Prepare.

        Args:
            loss: share of packets that never arrive, each way.
            delay_s: every packet takes so long, each way,
            jitter_s: and up to so much longer, so that packets overtake one another.
            seed: of chance.
        """
        number = next(_NUMBERS) + os.getpid() % 50 * 4
        self.loss, self.delay_s, self.jitter_s = loss, delay_s, jitter_s
        self.name = f"br-{os.getpid()}-{number}"
        self.here, self.there = f"10.99.{number % 250}.1", f"10.99.{number % 250}.2"
        self._devices = f"brh{number}", f"brn{number}"
        self._chance = random.Random(seed)
        self._stopped = False
        self._ended = False
        self.carried = self.lost = self.overtaken = 0

    def __enter__(self) -> Self:
        """Make it."""
        _ip("netns", "add", self.name)
        mine, theirs = self._devices
        self._near, self._far = _tun(mine), _tun(theirs)
        _ip("link", "set", theirs, "netns", self.name)
        _ip("addr", "add", self.here, "peer", self.there, "dev", mine)
        _ip("link", "set", mine, "up")
        inside = ("netns", "exec", self.name, "ip")
        _ip(*inside, "addr", "add", self.there, "peer", self.here, "dev", theirs)
        _ip(*inside, "link", "set", theirs, "up")
        _ip(*inside, "link", "set", "lo", "up")
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Take it away."""
        self._ended = True
        self._thread.join(5)
        for end in (self._near, self._far):
            os.close(end)
        _ip("netns", "del", self.name)

    def command(self, *words: str) -> list[str]:
        """A command to be run inside."""
        return ["ip", "netns", "exec", self.name, *words]

    def stop(self) -> None:
        """A partition: no packet passes."""
        self._stopped = True

    def go_on(self) -> None:
        """Packets pass again."""
        self._stopped = False

    def _carry(self) -> None:
        waiting: list[tuple[float, int, int, bytes]] = []
        order, newest = count(), {self._near: 0.0, self._far: 0.0}
        while not self._ended:
            rest_s = max(0.0, min(0.05, waiting[0][0] - stopwatch_s())) if waiting else 0.05
            readable, _, _ = select.select([self._near, self._far], [], [], rest_s)
            for end in readable:
                packet = os.read(end, LONGEST_PACKET)
                if self._stopped or self._chance.random() < self.loss:
                    self.lost += 1
                    continue
                due_s = stopwatch_s() + self.delay_s + self._chance.random() * self.jitter_s
                self.overtaken += due_s < newest[end]
                newest[end] = max(newest[end], due_s)
                heapq.heappush(waiting, (due_s, next(order), self._far if end == self._near else self._near, packet))
            while waiting and waiting[0][0] <= stopwatch_s():
                _due, _number, sink, packet = heapq.heappop(waiting)
                if self._stopped:
                    self.lost += 1
                    continue
                os.write(sink, packet)
                self.carried += 1


def _tun(name: str) -> int:
    end = os.open("/dev/net/tun", os.O_RDWR)
    fcntl.ioctl(end, SET_TUN, struct.pack("16sH22s", name.encode(), TUN | NO_HEADER, b""))
    return end


def _ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True, capture_output=True)
