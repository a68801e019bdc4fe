"""Errors of the pure core.

ProtocolError
├── TableError      a table or procedure file is wrong (line and reason)
├── EstimateError   an estimate was asked for with impossible inputs
├── NumberError     a spoken number could not be read
└── HistoryError    events do not follow one another
"""


class ProtocolError(Exception):
    """Base of every error raised by `protocol`; `code` is stable, the message is a sentence that says what to do."""

    code = "protocol"


class TableError(ProtocolError):
    """A procedure, site or built-in table is wrong."""

    code = "table"


class EstimateError(ProtocolError):
    """An estimate was asked for with inputs that cannot be."""

    code = "estimate"


class NumberError(ProtocolError):
    """Words that should be a number are not one."""

    code = "number"


class HistoryError(ProtocolError):
    """Recorded events do not follow one another."""

    code = "history"
