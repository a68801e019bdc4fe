"""`--keep-audio`: the sound of this machine's headsets kept beside the record, told aloud and shown."""

from collections.abc import Callable, Iterable
from pathlib import Path

from assistant.errors import AudioError
from assistant.incident import Incident
from assistant.inputs import Part
from assistant.keeping import PART, FlacFile, Keeper, KeptMicrophone, Microphone, free_name
from assistant.station import Station
from protocol.commands import PROGRAM, KeepAudio

NO_MICROPHONE = "Sound is not kept: there is no microphone."


def keep_sound(
    incident: Incident,
    record: Path,
    stations: Iterable[Station],
    show: Callable[[str], None],
    behind_ms: Callable[[], int] = lambda: 0,
) -> list[Part]:
    """Begin to keep what each station hears; what cannot be kept is a trouble, never a stop.

    Args:
        incident: open, and begun.
        record: its file, beside which the sound goes.
        stations: this machine's.
        show: tells the person at the terminal.
        behind_ms: how far the incident's clock is behind the stations' (a drill that was paused).
    """
    troubles: list[Part] = []
    for station in stations:
        at_ms = incident.clock.now_ms()
        path = free_name(record, station.place.name)
        try:
            kept = _keep(station, path, at_ms, behind_ms)
        except AudioError as error:
            troubles.append(Part(PART, works=False, detail=f"{error} Everything else goes on."))
            continue
        if not kept:
            show(NO_MICROPHONE)
            continue
        incident.session.submit(KeepAudio(at_ms, PROGRAM, station.place.name, path.name))
        show(f"What the headset '{station.place.name}' hears is kept: {path}")
    return troubles


def _keep(station: Station, path: Path, at_ms: int, behind_ms: Callable[[], int]) -> bool:
    def through(microphone: Microphone) -> Microphone:
        return KeptMicrophone(microphone, Keeper(FlacFile(path, at_ms)), behind_ms)

    return station.listen_through(through)
