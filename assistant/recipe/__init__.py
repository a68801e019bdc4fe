"""How the shipped speech model was made: texts, voices, noise, training and the files that the recogniser loads.

Nothing here runs in a rescue. `python -m assistant.recipe --help` lists the stages. Only `features`, `network`, `loss`,
`augment`, `machine_noise`, `training` and `kokoro` import torch; the file formats and the word lists need numpy alone.
"""
