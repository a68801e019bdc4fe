"""The files of a report, written beside one another under the record's name."""

from pathlib import Path

from assistant.errors import DebriefError


def write(path: Path, content: str | bytes) -> Path:
    """Write one file; a reader never sees half of it.

    Raises:
        DebriefError: if the folder cannot be written.
    """
    data = content if isinstance(content, bytes) else content.encode(errors="backslashreplace")
    half = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            half.write_bytes(data)
            half.replace(path)
        finally:
            half.unlink(missing_ok=True)
    except OSError as error:
        raise DebriefError(f"{path} cannot be written ({error.strerror}). Name another folder with --out.") from error
    return path
