"""Everything that touches the world: audio, speech, files, network, people."""
