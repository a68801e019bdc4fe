"""One module for each command of `bin-rescue`; each takes the parsed options and returns an exit status."""

from assistant.commands.archiving import archive
from assistant.commands.carding import card
from assistant.commands.checking import check
from assistant.commands.drilling import drill
from assistant.commands.estimating import estimate
from assistant.commands.hearing import devices, hear
from assistant.commands.records import replay
from assistant.commands.rehearsing import rehearse
from assistant.commands.reporting import report
from assistant.commands.resuming import resume
from assistant.commands.running import run
from assistant.commands.stationing import credentials, standby, station

__all__ = [
    "archive", "card", "check", "credentials", "devices", "drill", "estimate", "hear", "rehearse", "replay",
    "report", "resume", "run", "standby", "station",
]  # fmt: skip
