"""How much grain is left inside the ring: the state of the incident put into the estimates."""

from protocol.errors import EstimateError
from protocol.scene import Scene


def grain_sentence(scene: Scene) -> str:
    """One spoken sentence with a range.

    Raises:
        EstimateError: when no level has been called yet.
    """
    if scene.state.level is None:
        raise EstimateError("No grain level has been called. Say, grain at, and the mark.")
    return ""
