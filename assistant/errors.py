"""Errors of everything that touches the world.

AssistantError (exit status 1)
├── UsageError      2   the command line or a settings file asks for something impossible
├── AudioError      3   a recording or sound device cannot be used
├── ModelError      4   the speech model is missing, wrong or lacks a word
├── SpeechError     5   the speech engine failed
├── JournalError    6   the incident record cannot be read, written or verified
├── BoardError      7   the board cannot be served
├── ProcedureError  8   a procedure or site file was refused
├── DebriefError   11   a report cannot be made or written
├── ArchiveError   13   the archive cannot be opened, read or written
└── ScenarioError  14   a drill's scenario was refused
"""


class AssistantError(Exception):
    """Base: `code` is a stable word, `exit_status` what the process returns, the message says what to do."""

    code = "assistant"
    exit_status = 1


class UsageError(AssistantError):
    """The command line or a settings file asks for something impossible."""

    code = "usage"
    exit_status = 2


class AudioError(AssistantError):
    """A recording or a sound device cannot be used."""

    code = "audio"
    exit_status = 3


class ModelError(AssistantError):
    """The speech model is missing, broken, or lacks a word that a phrase needs."""

    code = "model"
    exit_status = 4


class SpeechError(AssistantError):
    """The speech engine failed."""

    code = "speech"
    exit_status = 5


class JournalError(AssistantError):
    """The incident record cannot be read, written or verified."""

    code = "journal"
    exit_status = 6


class BoardError(AssistantError):
    """The board cannot be served."""

    code = "board"
    exit_status = 7


class ProcedureError(AssistantError):
    """A procedure or site file was refused."""

    code = "procedure"
    exit_status = 8


class DebriefError(AssistantError):
    """A report cannot be made or written."""

    code = "debrief"
    exit_status = 11


class ArchiveError(AssistantError):
    """The archive cannot be opened, read or written."""

    code = "archive"
    exit_status = 13


class LinkError(AssistantError):
    """The broker, or another station, cannot be reached, refuses, or sent what cannot be used."""

    code = "link"
    exit_status = 12


class ScenarioError(AssistantError):
    """A drill's scenario was refused."""

    code = "scenario"
    exit_status = 14
