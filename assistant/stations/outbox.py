"""What a station has to say to the coordinator: numbered, on disk before it counts, kept until it is on the record.

One file for each station and incident. Its first line names the session; each further line is one command.
"""

import json
import os
import secrets
from dataclasses import replace
from pathlib import Path

from assistant.errors import JournalError, LinkError
from assistant.stations.messages import said_from, say_bytes
from protocol.commands import Command
from protocol.delivery import Delivery


class Outbox:
    """Commands of one station in the order in which they were said. Number n is at place n - 1."""

    def __init__(self, path: Path | None) -> None:
        """Open what was kept, or begin.

        Args:
            path: the file; None keeps in memory only.

        Raises:
            JournalError: if the file cannot be read or written.
        """
        self._path = path
        self.session = secrets.token_hex(6)
        self._commands: list[Command] = []
        if path is not None:
            self._open(path)

    def __len__(self) -> int:
        return len(self._commands)

    def keep(self, command: Command, said_ms: int, term: int) -> Command:
        """Number a command and put it on disk.

        Raises:
            JournalError: if the disk does not take it.
        """
        delivery = Delivery(self.session, len(self._commands) + 1, said_ms, term)
        kept = replace(command, origin=replace(command.origin, delivery=delivery))
        self._write(say_bytes(kept))
        self._commands.append(kept)
        return kept

    def after(self, seq: int) -> list[Command]:
        """What the record does not have yet, given the last number that it has."""
        return self._commands[seq:]

    def _open(self, path: Path) -> None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            lines = path.read_bytes().split(b"\n")[:-1] if path.exists() else []
        except OSError as error:
            raise JournalError(f"{path} cannot be read ({error.strerror}). Choose another folder.") from error
        try:
            if lines:
                self.session = str(json.loads(lines[0])["session"])
                self._commands = [said_from(line) for line in lines[1:]]
        except (LinkError, ValueError, KeyError, TypeError):
            lines = []
            self._set_aside(path)
        if not lines:
            self._commands = []
            self._write(json.dumps({"session": self.session}).encode())

    def _set_aside(self, path: Path) -> None:
        """A damaged outbox is kept beside; a new session begins, so that no number is used twice."""
        self.session = secrets.token_hex(6)
        path.replace(path.with_name(f"{path.name}.damaged-{self.session}"))

    def _write(self, line: bytes) -> None:
        if self._path is None:
            return
        try:
            handle = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
            try:
                os.write(handle, line + b"\n")
                os.fsync(handle)
            finally:
                os.close(handle)
        except OSError as error:
            raise JournalError(f"{self._path}: not kept ({error.strerror}). Free some space.") from error
