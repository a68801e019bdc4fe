"""Levels as a test draws them: any that a microphone can have."""

from hypothesis import strategies as st

from protocol.headset import Sound

LEVELS = st.floats(-120, 0)
SOUNDS = st.builds(Sound, LEVELS, st.none() | LEVELS, LEVELS, st.floats(0, 1))
