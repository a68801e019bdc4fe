"""Stand-ins for the speech engine's process, run as `python fake_children.py MODE FOLDER`; each fails in its own way."""

import io
import sys
import threading
import wave
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from assistant.speaking import voice_child

HELLO = {"hello": {"engine": "fake 1", "voices": ["gmw/en-us"], "voice": "gmw/en-us"}}


def sound(seconds: float = 0.5) -> bytes:
    """A WAV of a steady tone."""
    held = io.BytesIO()
    with wave.open(held, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(22_050)
        file.writeframes(b"\x00\x20\x00\xe0" * int(22_050 * seconds / 2))
    return held.getvalue()


def main(mode: str, folder: Path) -> None:
    """Behave as asked; a mode that happens once leaves a mark at the path after its '='."""
    mode, _, mark = mode.partition("=")
    out = sys.stdout.buffer
    if mode == "no engine":
        voice_child.send(out, {"error": "libespeak-ng.so.1 is missing."})
        return
    if mode == "hangs at start":
        threading.Event().wait()
    voice_child.send(out, HELLO)
    served = 0
    while (ask := voice_child.receive(sys.stdin.buffer)) is not None:
        served += 1
        if mode == "hangs" or (mode == "hangs on the second" and served == 2):
            threading.Event().wait()
        if mode == "dies" or (mode == "dies once" and not Path(mark).exists()):
            Path(mark or folder / "mark").touch()
            return
        if mode == "talks rubbish":
            out.write(b"\xff\xff\xff\xffrubbish")
            out.flush()
            continue
        if mode == "answers another":
            voice_child.send(out, {"id": -1, "bytes": 0})
            continue
        if mode == "refuses":
            voice_child.send(out, {"id": ask["id"], "error": "no such voice"})
            continue
        body = b"not a sound" if mode == "sends no sound" else sound()
        voice_child.send(out, {"id": ask["id"], "bytes": len(body)}, body)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
