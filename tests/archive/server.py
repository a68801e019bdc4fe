"""A PostgreSQL of the tests' own: a fresh cluster in a temporary folder, on a socket only, never as root."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MISSING = "PostgreSQL is not installed: apt-get install postgresql; or run the tests with -m 'not postgresql'."


def program(name: str) -> str:
    """Where a program of PostgreSQL is; Debian keeps them off the PATH.

    Raises:
        FileNotFoundError: if it is not installed.
    """
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), reverse=True)
    found = str(places[0]) if places else shutil.which(name)
    if found is None:
        raise FileNotFoundError(MISSING)
    return found


@contextmanager
def postgresql() -> Iterator[str]:
    """A running server; gives its URL. It is stopped and removed afterwards.

    Raises:
        FileNotFoundError: if PostgreSQL is not installed.
    """
    folder = Path(tempfile.mkdtemp(prefix="archive-pg-", dir="/tmp"))
    prefix = _unprivileged(folder)
    data, log = folder / "data", folder / "log"
    try:
        make = [program("initdb"), "-D", str(data), "-U", "tester", "-A", "trust", "-E", "UTF8", "--no-sync"]
        _run([*prefix, *make, "--locale=C.UTF-8"])
        settings = f"-k {folder} -c listen_addresses='' -c fsync=off"
        _run([*prefix, program("pg_ctl"), "-D", str(data), "-l", str(log), "-w", "-t", "60", "-o", settings, "start"])
        try:
            yield f"postgresql://tester@/postgres?host={folder}"
        finally:
            _run([*prefix, program("pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop"])
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _unprivileged(folder: Path) -> list[str]:
    """How to run a program as somebody who is not root: PostgreSQL refuses to be."""
    if os.geteuid() != 0:
        return []
    names = [entry.pw_name for entry in pwd.getpwall()]
    person = pwd.getpwnam("postgres" if "postgres" in names else "nobody")
    os.chown(folder, person.pw_uid, person.pw_gid)
    return ["setpriv", f"--reuid={person.pw_uid}", f"--regid={person.pw_gid}", "--clear-groups"]


def _run(command: list[str]) -> None:
    done = subprocess.run(
        command, cwd="/", capture_output=True, text=True, check=False, timeout=120, stdin=subprocess.DEVNULL
    )
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stdout}{done.stderr}")
