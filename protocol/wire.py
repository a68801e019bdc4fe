"""Commands and events as plain JSON values and back, by name; nothing unknown is ever guessed at."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from decimal import Decimal
from enum import Enum
from functools import cache
from types import MappingProxyType
from typing import Any, cast, get_args

from pydantic import ConfigDict, TypeAdapter, ValidationError

from protocol.commands import Command
from protocol.errors import HistoryError
from protocol.events import Event

COMMAND_TYPES: Mapping[str, type] = MappingProxyType({kind.__name__: kind for kind in get_args(Command)})
EVENT_TYPES: Mapping[str, type] = MappingProxyType({kind.__name__: kind for kind in get_args(Event)})


def to_plain(message: Command | Event) -> dict[str, Any]:
    """A message as JSON values, its type under "is"."""
    return {"is": type(message).__name__, **_plain(message)}


def event_from(plain: Mapping[str, Any]) -> Event:
    """An event from JSON values.

    Raises:
        HistoryError: if the type is unknown or a field is missing, extra or of the wrong kind.
    """
    return cast("Event", _from(plain, EVENT_TYPES))


def command_from(plain: Mapping[str, Any]) -> Command:
    """A command from JSON values.

    Raises:
        HistoryError: as for events.
    """
    return cast("Command", _from(plain, COMMAND_TYPES))


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    if isinstance(value, Decimal):
        return format(value, "f")
    return value.value if isinstance(value, Enum) else value


def _from(plain: Mapping[str, Any], types: Mapping[str, type]) -> Any:
    if not isinstance(plain, Mapping):
        raise HistoryError(f"A record holds {type(plain).__name__} where a message should be.")
    kind = types.get(str(plain.get("is")))
    if kind is None:
        raise HistoryError(f"A record holds an unknown message {plain.get('is')!r}.")
    values = {key: value for key, value in plain.items() if key != "is"}
    extra = set(values) - {field.name for field in fields(kind)}
    if extra:
        raise HistoryError(f"{kind.__name__} has unknown fields: {', '.join(sorted(extra))}.")
    try:
        return _adapter(kind).validate_python(values)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise HistoryError(f"{kind.__name__}: {place}: {first['msg']}.") from error


@cache
def _adapter(kind: type) -> TypeAdapter[Any]:
    kind.__pydantic_config__ = ConfigDict(extra="forbid")  # type: ignore[attr-defined]
    return TypeAdapter(kind)
