"""Makes clean recordings hard, on the GPU: joined pieces, speed, sheds, rooms, bands, faults of microphones.

Ranges come from the trade (a voice through a milking shed into a headset) and from what two trials taught: the
band of telephones, digits said one by one and joined pieces must be a steady share of every batch.
"""

from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from voicecapture.training.network import log_mel, warped

RATE_HZ = 16_000
_WARPS = tuple(np.linspace(0.84, 1.19, 15))
_SOFTEST_DB = -14.0
"""Softest of the words that are joined, against the loudest possible."""


@dataclass(frozen=True)
class Sounds:
    """Recordings in GPU memory, end to end."""

    samples: Tensor
    bounds: NDArray[np.int64]
    """Start and end of each recording, shape (recordings, 2)."""
    tight: NDArray[np.int64]
    """The same without the silence before and after what is said."""
    peaks: NDArray[np.float64]
    """Largest magnitude of each recording."""

    def at(self, places: Tensor) -> Tensor:
        """Samples at any places, in the shape of these."""
        return self.samples[places].float()


def in_memory(recordings: list[NDArray[np.float32]], device: torch.device) -> Sounds:
    """Put recordings, mono at 16 kHz, into GPU memory."""
    ends = np.cumsum([len(recording) for recording in recordings])
    bounds = np.stack([ends - [len(recording) for recording in recordings], ends], axis=1)
    tight = bounds.copy()
    peaks = np.array([np.max(np.abs(recording)) + 1e-6 for recording in recordings])
    for row, recording in enumerate(recordings):
        loud = np.flatnonzero(np.abs(recording) > 0.03 * peaks[row])
        if len(loud):
            tight[row] = bounds[row, 0] + np.clip([loud[0] - 200, loud[-1] + 400], 0, len(recording))
    samples = torch.from_numpy(np.concatenate(recordings).astype(np.float16)).to(device)
    return Sounds(samples, bounds, tight, peaks)


class Augmenter:
    """Draws spectrograms for training; everything at random comes from one seed."""

    def __init__(self, speech: Sounds, sheds: Sounds, recorded: Sounds, filters: Tensor, seed: int) -> None:
        self.speech, self.sheds, self.recorded = speech, sheds, recorded
        self.device = speech.samples.device
        self.filters = torch.stack([warped(filters, factor) for factor in _WARPS]).to(self.device)
        self.random = torch.Generator(self.device).manual_seed(seed)
        self.rng = np.random.default_rng(seed)

    def batch(self, pieces: list[list[int]], duration_s: float) -> Tensor:
        """Log-mel spectrograms of recordings, each joined from one or more pieces.

        Args:
            pieces: For each recording the numbers of its clips, in order.
            duration_s: Length of every recording; what does not fit is squeezed in time.

        Returns:
            Shape (len(pieces), 80, 100 * duration_s).
        """
        samples = int(duration_s * RATE_HZ)
        speech, power = self._placed(pieces, samples)
        speech = self._voiced_in_rooms(speech + torch.sqrt(power) * self._breath(len(pieces), samples))
        snr_db = self._uniform(-4, 32, len(pieces))
        gain = torch.sqrt(power / 10 ** (snr_db / 10)) * self._chance(0.9, len(pieces))
        mixed = self._recorded(speech + gain * self._noise(len(pieces), samples))
        which = self.rng.integers(0, len(_WARPS), len(pieces))
        which[self.rng.random(len(pieces)) < 0.4] = len(_WARPS) // 2
        return self._masked(log_mel(mixed, self.filters[torch.from_numpy(which).to(self.device)]))

    def _uniform(self, low: float, high: float, rows: int) -> Tensor:
        return low + (high - low) * torch.rand(rows, 1, device=self.device, generator=self.random)

    def _chance(self, share: float, rows: int) -> Tensor:
        return torch.rand(rows, 1, device=self.device, generator=self.random) < share

    def _normal(self, rows: int, columns: int) -> Tensor:
        return torch.randn(rows, columns, device=self.device, generator=self.random)

    def _placed(self, pieces: list[list[int]], samples: int) -> tuple[Tensor, Tensor]:
        """The pieces in their places with silence around, shape (batch, samples), and their mean power."""
        batch, most = len(pieces), max(map(len, pieces))
        starts, lengths, onsets, gains = (np.zeros((batch, most)) for _ in range(4))
        speeds, before = np.zeros((batch, 1)), np.zeros((batch, 1))
        for row, numbers in enumerate(pieces):
            bounds = self.speech.tight if len(numbers) > 1 else self.speech.bounds
            at = 0.0
            for column, number in enumerate(numbers):
                start, end = bounds[number]
                starts[row, column], lengths[row, column], onsets[row, column] = start, end - start, at
                # Words fall off by 10 dB and more where a head turns: without this, soft digits are not heard.
                level = self.rng.uniform(_SOFTEST_DB, 0) if len(numbers) > 1 else 0
                gains[row, column] = 10 ** (level / 20) / self.speech.peaks[number]
                at += end - start + self.rng.integers(0, 2600)
            at = onsets[row, len(numbers) - 1] + lengths[row, len(numbers) - 1]
            speeds[row] = max(self.rng.uniform(0.85, 1.17), (at + 1) / samples)
            before[row] = self.rng.uniform(0, samples - at / speeds[row, 0])
        start, length, onset, gain, speed, lead = (
            torch.from_numpy(array.astype(np.float32 if array is not starts else np.int64)).to(self.device)
            for array in (starts, lengths, onsets, gains, speeds, before)
        )
        place = (torch.arange(samples, device=self.device)[None] - lead) * speed
        track = torch.zeros(batch, samples, device=self.device)
        for column in range(most):
            within = place - onset[:, column, None]
            is_here = (within >= 0) & (within < length[:, column, None] - 1)
            low = torch.where(is_here, within, 0).long()
            share = within - low
            index = start[:, column, None] + low
            value = self.speech.at(index) * (1 - share) + self.speech.at(index + 1) * share
            track += torch.where(is_here, value * gain[:, column, None], 0)
        spoken = (lengths.sum(1, keepdims=True) / speeds).clip(1)
        power = track.square().sum(1, keepdim=True) / torch.from_numpy(spoken.astype(np.float32)).to(self.device)
        return track, power

    def _breath(self, batch: int, samples: int) -> Tensor:
        """A breath in one of five, a cough of two bursts in one of twenty; most are softer than the voice."""
        place_s = torch.arange(samples, device=self.device)[None] / RATE_HZ
        noise = self._normal(batch, samples)
        noise = noise + torch.where(self._chance(0.5, batch), 1.0, -1.0) * noise.roll(1, 1)
        since_s = place_s - self._uniform(0, samples / RATE_HZ, batch)
        breath = torch.exp(-((since_s / self._uniform(0.06, 0.2, batch)) ** 2)) * self._uniform(0.02, 0.3, batch)
        sound = breath * self._chance(0.2, batch)
        decay_s, loud = self._uniform(0.03, 0.12, batch), self._uniform(0.2, 1.5, batch) * self._chance(0.05, batch)
        for later_s in (0.0, 0.3):
            burst_s = since_s - later_s
            sound = sound + loud * (burst_s >= 0) * torch.exp(-burst_s.clamp(min=0) / decay_s)
        return sound * noise

    def _voiced_in_rooms(self, speech: Tensor) -> Tensor:
        """Loud voices (Lombard speech: flatter spectrum), muffled ones, and echo that dies away in 0.3 s."""
        batch, samples = speech.shape
        tilt = self._uniform(-0.4, 0.6, batch) * self._chance(0.4, batch)
        hertz = torch.fft.rfftfreq(samples, 1 / RATE_HZ, device=self.device).clamp(150, 6000)
        decay = torch.exp(-torch.arange(4800, device=self.device) / self._uniform(200, 1600, batch))
        response = self._normal(batch, 4800) * decay * self._uniform(0.01, 0.1, batch) * self._chance(0.4, batch)
        response[:, 0] = 1
        # What an echo takes past the end comes in again at the start, where there is noise anyway.
        spectrum = torch.fft.rfft(speech) * torch.fft.rfft(response, samples) * (hertz / 1000) ** tilt
        return torch.fft.irfft(spectrum, samples)

    def _noise(self, batch: int, samples: int) -> Tensor:
        """Shed, recorded or coloured noise, at times with somebody talking, at a mean power of 1."""
        kinds = torch.from_numpy(self.rng.choice(3, (batch, 1), p=[0.45, 0.25, 0.3])).to(self.device)
        shed, recorded, talk = (self._crops(s, batch, samples) for s in (self.sheds, self.recorded, self.speech))
        coloured = self._coloured(batch, samples)
        weight = torch.where(kinds == 2, 1.0, self._uniform(0, 0.7, batch))
        noise = torch.where(kinds == 0, shed, torch.where(kinds == 1, recorded, 0.0)) + weight * coloured
        noise = noise + talk * self._uniform(0.1, 0.7, batch) * self._chance(0.2, batch)
        return noise / (noise.std(1, keepdim=True) + 1e-6)

    def _crops(self, sounds: Sounds, batch: int, samples: int) -> Tensor:
        """Stretches from anywhere, over the borders of recordings too, each at a mean power of 1."""
        starts = torch.from_numpy(self.rng.integers(0, len(sounds.samples) - samples, (batch, 1))).to(self.device)
        crops = sounds.at(starts + torch.arange(samples, device=self.device))
        return crops / (crops.std(1, keepdim=True) + 1e-3)

    def _coloured(self, batch: int, samples: int) -> Tensor:
        """Noise that falls 0 to 9 dB an octave, with a hump, a mains hum and bursts once a second."""
        hertz = torch.fft.rfftfreq(samples, 1 / RATE_HZ, device=self.device)[None]
        shape = (hertz.clamp(min=20) / self._uniform(60, 200, batch)) ** -self._uniform(0, 1.5, batch)
        hump = torch.exp(-(((hertz - self._uniform(200, 3700, batch)) / self._uniform(200, 1700, batch)) ** 2))
        shape = shape * (1 + self._uniform(0, 6, batch) * hump)
        white = torch.complex(self._normal(batch, hertz.shape[1]), self._normal(batch, hertz.shape[1]))
        noise = torch.fft.irfft(white * shape, samples)
        noise = noise / noise.std(1, keepdim=True)
        time_s = torch.arange(samples, device=self.device)[None] / RATE_HZ
        angle = 6.2832 * self._uniform(49, 61, batch) * time_s
        for harmonic in range(1, 7):
            level = self._uniform(0, 0.8, batch) / harmonic
            noise = noise + level * torch.sin(harmonic * angle + self._uniform(0, 6.3, batch))
        cycle = (time_s * self._uniform(0.8, 1.2, batch) + self._uniform(0, 1, batch)) % 1
        burst = torch.exp(-cycle / self._uniform(0.05, 0.3, batch)) * self._uniform(0, 1.5, batch)
        noise = noise + burst * self._normal(batch, samples)
        return noise / (noise.std(1, keepdim=True) + 1e-6)

    def _recorded(self, mixed: Tensor) -> Tensor:
        """What a microphone and its link make of it: bands, hiss, clipping, gaps, level."""
        batch, samples = mixed.shape
        hertz = torch.fft.rfftfreq(samples, 1 / RATE_HZ, device=self.device)[None]
        # A headset's narrow band ends between 3.3 and 4 kHz.
        top = torch.where(self._chance(0.33, batch), self._uniform(3300, 4000, batch), 8001.0)
        bottom = torch.where(self._chance(0.35, batch), self._uniform(60, 320, batch), 0.0)
        mixed = torch.fft.irfft(torch.fft.rfft(mixed) * ((hertz < top) & (hertz >= bottom)), samples)
        mixed = mixed / (mixed.abs().amax(1, keepdim=True) + 1e-6)
        mixed = mixed + 10 ** (self._uniform(-90, -45, batch) / 20) * self._normal(batch, samples)
        ceiling = torch.where(self._chance(0.1, batch), self._uniform(0.15, 0.8, batch), 1.2)
        mixed = torch.minimum(torch.maximum(mixed, -ceiling), ceiling)
        place = torch.arange(samples, device=self.device)[None]
        for _ in range(2):
            gap = self._uniform(0, samples, batch)
            is_lost = (place >= gap) & (place < gap + self._uniform(120, 640, batch)) & self._chance(0.06, batch)
            mixed = torch.where(is_lost, 0.0, mixed)
        return mixed * 10 ** (self._uniform(-30, 0, batch) / 20)

    def _masked(self, spectrograms: Tensor) -> Tensor:
        """SpecAugment (Park et al. 2019): a stripe in frequency and one in time, in seven of ten."""
        batch, bands, frames = spectrograms.shape
        is_masked = torch.zeros(batch, bands, frames, dtype=torch.bool, device=self.device)
        for size, widest, shape in ((bands, 14, (1, -1, 1)), (frames, 25, (1, 1, -1))):
            first = self._uniform(0, size - widest, batch)[:, :, None]
            last = first + (self._uniform(0, widest, batch) * self._chance(0.7, batch))[:, :, None]
            place = torch.arange(size, device=self.device).view(shape)
            is_masked |= (place >= first) & (place < last)
        return torch.where(is_masked, spectrograms.mean((1, 2), keepdim=True), spectrograms)
