"""`loss.topology_loss` as one Triton kernel: forward and backward passes of a whole batch in two loops over time."""

from __future__ import annotations

from typing import Any

import torch
import triton
import triton.language as tl

from assistant.recipe.phones import BLANK, SILENCE


@triton.jit
def _add(a, b):  # type: ignore[no-untyped-def] # noqa: ANN001, ANN202 - Triton source
    high = tl.maximum(a, b)
    return high + tl.log(1.0 + tl.exp(tl.minimum(a, b) - high))


@triton.jit
def _pass(  # type: ignore[no-untyped-def] # noqa: ANN202
    lp, phones, allowed, counts, alpha, total, grad,  # noqa: ANN001
    frames, most,  # noqa: ANN001
    PDFS: tl.constexpr, WIDTH: tl.constexpr, BLANK_PDF: tl.constexpr, SILENCE_PDF: tl.constexpr,  # noqa: N803
):  # fmt: skip
    row = tl.program_id(0).to(tl.int64)
    k = tl.arange(0, WIDTH)
    below = tl.maximum(k - 1, 0)
    above = tl.minimum(k + 1, WIDTH - 1)
    count = tl.load(counts + row)
    real = (k >= 1) & (k <= most)
    phone = tl.load(phones + row * most + below, mask=real, other=0)
    barred = tl.where(tl.load(allowed + row * (most + 1) + k, mask=k <= most, other=0) != 0, 0.0, -1e30)
    lp += row * frames * PDFS
    grad += row * frames * PDFS
    alpha += row * frames * 2 * WIDTH
    blank = tl.full((WIDTH,), -1e30, tl.float32)
    silence = tl.where(k == 0, 0.0, -1e30)
    for at in range(frames):
        tl.store(alpha + (at * 2) * WIDTH + k, blank)
        tl.store(alpha + (at * 2 + 1) * WIDTH + k, silence)
        either = _add(blank, silence)
        enter = tl.where(real, tl.load(lp + at * PDFS + phone, mask=real, other=0.0), -1e30)
        arriving = tl.where(k >= 1, tl.gather(either, below, 0) + enter, -1e30)
        blank = _add(blank + tl.load(lp + at * PDFS + BLANK_PDF), arriving)
        silence = either + tl.load(lp + at * PDFS + SILENCE_PDF) + barred
    whole = tl.max(tl.where(k == count, _add(blank, silence), -3e38), 0)
    tl.store(total + row, -whole)
    after_blank = tl.where(k == count, 0.0, -1e30)
    after_silence = after_blank
    for back in range(frames):
        at = frames - 1 - back
        blank = tl.load(alpha + (at * 2) * WIDTH + k)
        either = _add(blank, tl.load(alpha + (at * 2 + 1) * WIDTH + k))
        to_blank = tl.load(lp + at * PDFS + BLANK_PDF) + after_blank
        to_silence = tl.load(lp + at * PDFS + SILENCE_PDF) + barred + after_silence
        enter = tl.where(real, tl.load(lp + at * PDFS + phone, mask=real, other=0.0), -1e30)
        to_phone = enter + after_blank
        reached = tl.where(k >= 1, tl.gather(either, below, 0) + to_phone - whole, -1e30)
        tl.store(grad + at * PDFS + BLANK_PDF, -tl.sum(tl.exp(blank + to_blank - whole), 0))
        tl.store(grad + at * PDFS + SILENCE_PDF, -tl.sum(tl.exp(either + to_silence - whole), 0))
        tl.atomic_add(grad + at * PDFS + phone, -tl.exp(reached), mask=real)
        leaving = _add(tl.where(k < WIDTH - 1, tl.gather(to_phone, above, 0), -1e30), to_silence)
        after_silence = leaving
        after_blank = _add(to_blank, leaving)


class _TopologyLoss(torch.autograd.Function):
    @staticmethod
    def forward(ctx: Any, log_posteriors: Any, phones: Any, silence_ok: Any, counts: Any) -> Any:
        batch, frames, pdfs = log_posteriors.shape
        most = phones.shape[1]
        width = max(16, 1 << most.bit_length())
        alpha = torch.empty((batch, frames, 2, width), device=log_posteriors.device)
        total = torch.empty(batch, device=log_posteriors.device)
        grad = torch.zeros_like(log_posteriors)
        _pass[(batch,)](
            log_posteriors, phones, silence_ok, counts, alpha, total, grad, frames, most,
            PDFS=pdfs, WIDTH=width, BLANK_PDF=BLANK, SILENCE_PDF=SILENCE, num_warps=max(1, min(4, width // 64)),
        )  # fmt: skip
        ctx.save_for_backward(grad)
        return total

    @staticmethod
    def backward(ctx: Any, upstream: Any) -> Any:
        (grad,) = ctx.saved_tensors
        wanted = upstream[:, None, None]
        return torch.where(wanted == 0, torch.zeros_like(grad), grad * wanted), None, None, None


def topology_loss_gpu(log_posteriors: Any, phones: Any, silence_ok: Any, phone_counts: Any) -> Any:
    """The same as `loss.topology_loss`, with int32 phones and counts and an int8 `silence_ok`, all contiguous."""
    return _TopologyLoss.apply(log_posteriors.contiguous(), phones, silence_ok, phone_counts)
