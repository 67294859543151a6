"""The listener as PyTorch trains it: the encoder of Whisper tiny.en and a linear layer to phones.

Architecture: Radford et al. 2022, "Robust Speech Recognition via Large-Scale Weak Supervision", section 2.2.
Unlike there it runs on the utterance itself and not on 30 s.
"""

import math

import torch
from torch import Tensor, nn
from torch.nn import functional

BANDS, WIDTH, HEADS, LAYERS, POSITIONS = 80, 384, 6, 4, 1500


class _Layer(nn.Module):
    def __init__(self) -> None:
        super().__init__()
        self.norm1, self.norm2 = nn.LayerNorm(WIDTH), nn.LayerNorm(WIDTH)
        self.qkv, self.mix = nn.Linear(WIDTH, 3 * WIDTH), nn.Linear(WIDTH, WIDTH)
        self.up, self.down = nn.Linear(WIDTH, 4 * WIDTH), nn.Linear(4 * WIDTH, WIDTH)

    def forward(self, x: Tensor) -> Tensor:
        batch, steps, _ = x.shape
        query, key, value = self.qkv(self.norm1(x)).view(batch, steps, 3, HEADS, -1).permute(2, 0, 3, 1, 4)
        attended = functional.scaled_dot_product_attention(query, key, value)
        x = x + self.mix(attended.transpose(1, 2).reshape(batch, steps, WIDTH))
        return x + self.down(functional.gelu(self.up(self.norm2(x))))


class Encoder(nn.Module):
    """Log-mel spectrograms to log-probabilities of the blank (index 0) and of each phone."""

    def __init__(self, phones: int) -> None:
        super().__init__()
        self.conv1 = nn.Conv1d(BANDS, WIDTH, 3, padding=1)
        self.conv2 = nn.Conv1d(WIDTH, WIDTH, 3, stride=2, padding=1)
        self.positions = nn.Parameter(torch.zeros(POSITIONS, WIDTH))
        self.layers = nn.ModuleList(_Layer() for _ in range(LAYERS))
        self.norm = nn.LayerNorm(WIDTH)
        self.head = nn.Linear(WIDTH, phones + 1)
        nn.init.normal_(self.head.weight, std=0.02)
        nn.init.zeros_(self.head.bias)

    def forward(self, log_mel: Tensor) -> Tensor:
        """From shape (batch, 80, frames) to (batch, frames / 2, phones + 1)."""
        x = functional.gelu(self.conv1(log_mel))
        x = functional.gelu(self.conv2(x)).transpose(1, 2)
        x = x + self.positions[: x.shape[1]]
        for layer in self.layers:
            x = layer(x)
        return functional.log_softmax(self.head(self.norm(x)).float(), -1)


def log_mel(samples: Tensor, filters: Tensor) -> Tensor:
    """Whisper's front end, as `recogniser.acoustic.log_mel`, for a batch.

    Args:
        samples: Mono 16 kHz, shape (batch, samples).
        filters: Mel filter bank of each recording, shape (batch, 80, 201).

    Returns:
        Shape (batch, 80, samples // 160).
    """
    window = torch.hann_window(400, device=samples.device)
    spectrum = torch.stft(samples, 400, 160, window=window, center=True, return_complex=True)[..., :-1].abs() ** 2
    log = torch.clamp(filters @ spectrum, min=1e-10).log10()
    return (torch.maximum(log, log.amax((1, 2), keepdim=True) - 8) + 4) / 4


def warped(filters: Tensor, factor: float) -> Tensor:
    """Mel filters for a vocal tract `factor` times as short: its formants look where the model expects them.

    Vocal tract length perturbation (Jaitly and Hinton 2013), linear over the whole band. Shape (80, 201).
    """
    bins = filters.shape[1]
    source = (torch.arange(bins, dtype=torch.float32) / factor).clamp(max=bins - 1)
    low = source.floor().long().clamp(max=bins - 2)
    share = source - low
    moved = filters[:, low] * (1 - share) + filters[:, low + 1] * share
    return moved / math.sqrt(factor)
