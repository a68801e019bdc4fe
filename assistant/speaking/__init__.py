"""Everything that makes sound: the speech engine in a process of its own, clips, alert tones, who speaks next, players.

`voice_child` runs alone in the engine's process, so this file imports nothing.
"""
