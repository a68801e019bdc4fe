"""The training loss: minus log probability of the phones under exactly the topology that the recogniser decodes with.

Every phone fires on one frame and is followed by any number of blank frames; silence is its own class and may stand,
for any number of frames, before the first word, between words and after the last. States: blank[k] and silence[k],
"after k phones". `topology_loss` is the plain reference; `loss_gpu` holds the same recursion as one kernel.
"""

from __future__ import annotations

from typing import Any, Final

import torch
from torch.nn import functional

from assistant.recipe.phones import BLANK, SILENCE

NEVER: Final = -1e30


def topology_loss(log_posteriors: Any, phones: Any, silence_ok: Any, phone_counts: Any) -> Any:
    """Minus log probability per utterance, [batch]. Every utterance fills all its frames.

    Args:
        log_posteriors: [batch, frames, pdfs] float32.
        phones: [batch, K] pdf of each phone, padded with any valid pdf.
        silence_ok: [batch, K + 1] bool, whether silence may stand after k phones.
        phone_counts: [batch] how many of the K are real.
    """
    batch, frames, _ = log_posteriors.shape
    most = phones.shape[1]
    by_time = log_posteriors.transpose(0, 1)
    entering = by_time.gather(2, phones[None].expand(frames, -1, -1))
    blank = torch.full((batch, most + 1), NEVER, device=log_posteriors.device)
    silence = blank.clone()
    silence[:, 0] = 0.0
    barred = torch.where(silence_ok, 0.0, NEVER)
    for at in range(frames):
        either = torch.logaddexp(blank, silence)
        arriving = functional.pad(either[:, :-1] + entering[at], (1, 0), value=NEVER)
        blank = torch.logaddexp(blank + by_time[at, :, BLANK, None], arriving)
        silence = either + by_time[at, :, SILENCE, None] + barred
    final = torch.logaddexp(blank, silence)
    return -final.gather(1, phone_counts[:, None])[:, 0]
