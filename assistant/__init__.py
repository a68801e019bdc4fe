"""Everything that touches the world: audio, speech, files, network, people."""

import os

# The second look multiplies small matrices: threads only make it wait for the other cores. Read when numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
