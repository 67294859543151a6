"""Trains the listener on one GPU.

    python -m voicecapture.training.train CONFIG ROUND SEED START.npz MEL_FILTERS.npy NOISE OUT SPEECH...

ROUND is one of the config's. START.npz, from which the weights begin and towards which they are pulled, comes from
`whisper_weights`, or from `weights` as a finished listener; each SPEECH folder is from `speech`, `revoice` or
`human`, NOISE is a folder of recorded noise. OUT gets weights.npz and, every minute, checkpoint.pt: started again
with it there, the round goes on. It stops after the config's seconds, with an exit code of 1 while steps are left.
"""

import math
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from voicecapture.synthesis.shed import shed_noise
from voicecapture.training.augment import RATE_HZ, Augmenter, Sounds, in_memory
from voicecapture.training.clips import PHONES, read_clips
from voicecapture.training.config import Round, read_config
from voicecapture.training.network import Encoder, log_mel
from voicecapture.training.weights import read_weights

_DURATIONS_S = ((3.0, 0.3), (4.5, 0.35), (6.0, 0.2), (9.0, 0.15))
"""Lengths of batches and their shares."""
_SLOWEST = 0.85
_SHED_S, _SHEDS = 30, 200
_YARD_EVERY = 3
"""One shed in so many has dogs and music."""
_SHED_SEED = 500_000
"""Sheds from here on are for training; the recordings that calibrate and report use smaller seeds."""


def _shed(seed: int) -> NDArray[np.float32]:
    return shed_noise(_SHED_S, seed, has_yard=seed % _YARD_EVERY == 0)


@dataclass
class Batches:
    """Chooses what is in a batch: which clips, and how they are joined."""

    rows: list[dict[str, Any]]
    mix: dict[str, float]
    rng: np.random.Generator

    def __post_init__(self) -> None:
        kinds: dict[str, list[int]] = {"job": [], "general": [], "digits": [], "other": []}
        self.by_speaker: dict[str, list[int]] = {}
        self.by_set: dict[str, list[int]] = {}
        for number, row in enumerate(self.rows):
            kinds[row["kind"]].append(number)
            if row["kind"] == "digits" and " " not in row["words"]:
                self.by_speaker.setdefault(row["speaker"], []).append(number)
                self.by_set.setdefault(row["set"], []).append(number)
        self.kinds = {kind: np.array(numbers) for kind, numbers in kinds.items()}
        self.short = np.array([n for n, row in enumerate(self.rows) if row["duration_s"] < 1.3])
        self.talkative = [numbers for numbers in self.by_speaker.values() if len(numbers) >= 20]
        self.durations_s = np.array([row["duration_s"] for row in self.rows])

    def draw(self, size: int) -> tuple[list[list[int]], float]:
        """The clips of each recording of a batch, and the length of all of them in seconds."""
        lengths, shares = zip(*_DURATIONS_S, strict=True)
        duration_s = float(self.rng.choice(lengths, p=shares))
        return [self._recording(_SLOWEST * (duration_s - 0.2)) for _ in range(size)], duration_s

    def _recording(self, longest_s: float) -> list[int]:
        kind = self.rng.choice(list(self.mix), p=list(self.mix.values()))
        while True:
            if kind == "joined_digits":
                pool = self.talkative if self.rng.random() < 0.5 else list(self.by_set.values())
                group = pool[self.rng.integers(len(pool))]
                pieces = self.rng.choice(group, self.rng.integers(1, 7)).tolist()
            elif kind == "joined_words":
                pieces = self.rng.choice(self.short, self.rng.integers(2, 6)).tolist()
            else:
                pieces = [int(self.rng.choice(self.kinds[kind]))]
            if sum(self.durations_s[pieces]) + 0.16 * (len(pieces) - 1) <= longest_s:
                return pieces


def phone_error_rate(model: nn.Module, spectrograms: list[tuple[Tensor, list[int]]]) -> float:
    """Edits between the most likely phone string and the true one, per true phone."""
    edits = total = 0
    with torch.no_grad():
        for spectrogram, target in spectrograms:
            best = model(spectrogram[None]).argmax(-1)[0].cpu().numpy()
            heard = [int(p) for p, before in zip(best, [0, *best[:-1]], strict=True) if p and p != before]
            costs = np.arange(len(heard) + 1)
            for row, phone in enumerate(target, 1):
                previous, costs[0] = costs.copy(), row
                for column in range(1, len(heard) + 1):
                    step = previous[column - 1] + (heard[column - 1] != phone)
                    costs[column] = min(previous[column] + 1, costs[column - 1] + 1, step)
            edits, total = edits + int(costs[-1]), total + len(target)
    return edits / max(total, 1)


class Training:
    """A round: model, optimiser, and how far it is."""

    def __init__(self, settings: Round, seed: int, start_file: Path, out: Path, device: torch.device) -> None:
        torch.manual_seed(seed)
        self.settings, self.out = settings, out
        self.model = Encoder(len(PHONES)).to(device)
        start = {name: torch.from_numpy(array).float() for name, array in read_weights(start_file).items()}
        missing, unknown = self.model.load_state_dict(start, strict=False)
        if unknown or any(not name.startswith("head.") for name in missing):
            sys.exit(f"{start_file}: not the weights of this encoder; expected those of whisper_weights or weights")
        self.body = [p for n, p in self.model.named_parameters() if n in start and not n.startswith("head.")]
        self.anchors = [p.detach().clone() for p in self.body]
        groups = [{"params": self.body}, {"params": self.model.head.parameters()}]
        self.optimiser = torch.optim.AdamW(groups, weight_decay=0.01, fused=True)
        self.average = {n: p.detach().clone() for n, p in self.model.named_parameters()}
        self.step = 0
        self.recipe = f"{settings}, seed {seed}, from {sha256(start_file.read_bytes()).hexdigest()}"
        checkpoint = out / "checkpoint.pt"
        if checkpoint.exists():
            state = torch.load(checkpoint, map_location=device)
            if state["recipe"] != self.recipe:
                sys.exit(f"{checkpoint}: of another round, seed or start; name another folder, or remove it")
            self.model.load_state_dict(state["model"])
            self.optimiser.load_state_dict(state["optimiser"])
            self.average, self.step = state["average"], state["step"]
            print(f"going on from step {self.step}", flush=True)

    def learn(self, spectrograms: Tensor, targets: list[list[int]]) -> Tensor:
        """One step; returns the CTC loss."""
        warmth = min(1.0, (self.step + 1) / 300) * 0.5 * (1 + math.cos(math.pi * self.step / self.settings.steps))
        rates = (self.settings.body_rate, self.settings.head_rate)
        for group, rate in zip(self.optimiser.param_groups, rates, strict=True):
            group["lr"] = rate * warmth
        device = spectrograms.device
        with torch.autocast("cuda", dtype=torch.bfloat16):
            scores = self.model(spectrograms)
        lengths = torch.tensor([len(target) for target in targets], device=device)
        steps = torch.full((len(targets),), scores.shape[1], device=device)
        flat = torch.tensor([phone for target in targets for phone in target], device=device)
        loss = nn.functional.ctc_loss(scores.transpose(0, 1), flat, steps, lengths, blank=0, zero_infinity=True)
        self.optimiser.zero_grad()
        loss.backward()
        # The gradient of the squared distance: the pull towards the start keeps what it knows of people.
        with torch.no_grad():
            apart = torch._foreach_sub(self.body, self.anchors)
            torch._foreach_add_([p.grad for p in self.body], apart, alpha=2 * self.settings.pull)
        nn.utils.clip_grad_norm_(self.model.parameters(), 1.0)
        self.optimiser.step()
        self.step += 1
        names, live = zip(*self.model.named_parameters(), strict=True)
        share = min(0.999, self.step / (self.step + 50))
        torch._foreach_lerp_([self.average[n] for n in names], [p.detach() for p in live], 1 - share)
        return loss.detach()

    def save(self) -> None:
        """Write the checkpoint and the averaged weights, each in one go."""
        state = {"model": self.model.state_dict(), "optimiser": self.optimiser.state_dict()}
        partial = self.out / "checkpoint.part"
        torch.save({**state, "average": self.average, "step": self.step, "recipe": self.recipe}, partial)
        partial.replace(self.out / "checkpoint.pt")
        halves = {name: value.cpu().half().numpy() for name, value in self.average.items()}
        partial = self.out / "part.npz"
        np.savez(partial, **halves)  # type: ignore[arg-type]
        partial.replace(self.out / "weights.npz")

    def averaged(self) -> Encoder:
        """The model with the averaged weights."""
        model = Encoder(len(PHONES)).to(next(iter(self.average.values())).device).eval()
        model.load_state_dict(self.average)
        return model


def _held_out(rows: list[dict[str, Any]], sounds: Sounds, filters: Tensor) -> list[tuple[Tensor, list[int]]]:
    """Spectrograms and targets of clips that are not trained on, for watching the run."""
    bank = filters.to(sounds.samples.device)[None]
    pairs = []
    for number, row in enumerate(rows):
        start, end = sounds.bounds[number]
        padded = torch.nn.functional.pad(sounds.samples[start:end].float(), (5000, 5000))
        pairs.append((log_mel(padded[None], bank)[0], _target(row)))
    return pairs


def _recorded(file: Path) -> NDArray[np.float32]:
    samples: NDArray[np.float32]
    samples, rate_hz = soundfile.read(file, dtype="float32")
    assert rate_hz == RATE_HZ and samples.ndim == 1, file
    return samples


def _target(row: dict[str, Any]) -> list[int]:
    return [PHONES.index(phone) + 1 for phone in row["phones"].split()]


def main() -> None:
    """Train."""
    began_s = time.monotonic()
    name, seed = sys.argv[2], int(sys.argv[3])
    config_file, start_file, mel_file, noise_folder, out, *folders = map(Path, [sys.argv[1], *sys.argv[4:]])
    config, device = read_config(config_file), torch.device("cuda")
    settings = config.rounds[name]
    out.mkdir(parents=True, exist_ok=True)
    filters = torch.from_numpy(np.load(mel_file)).float()
    rows: list[dict[str, Any]] = []
    clips: list[NDArray[np.float32]] = []
    for folder in folders:
        more_rows, more_clips = read_clips(folder)
        rows, clips = rows + more_rows, clips + more_clips
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        sheds = list(pool.map(_shed, range(_SHED_SEED, _SHED_SEED + _SHEDS)))
    recorded = [_recorded(file) for file in sorted(noise_folder.glob("*/*.ogg"))]
    recorded = [sound / (sound.std() + 1e-6) * 0.05 for sound in recorded]
    print(f"{len(rows)} clips, {sum(map(len, clips)) / 57.6e6:.2f} h, {time.monotonic() - began_s:.0f} s", flush=True)
    # Every fortieth clip watches the run and is not trained on.
    watched = [n for n in range(len(rows)) if n % 40 == 7]
    watching = _held_out([rows[n] for n in watched], in_memory([clips[n] for n in watched], device), filters)
    rows = [row for n, row in enumerate(rows) if n % 40 != 7]
    clips = [clip for n, clip in enumerate(clips) if n % 40 != 7]
    training = Training(settings, seed, start_file, out, device)
    # What is drawn after a stop is not what was drawn before it.
    seed += training.step
    augmenter = Augmenter(
        in_memory(clips, device), in_memory(sheds, device), in_memory(recorded, device), filters, seed
    )
    batches = Batches(rows, settings.mix, np.random.default_rng(seed))
    targets = [_target(row) for row in rows]
    loss, saved_s = 0.0, time.monotonic()
    while training.step < settings.steps and time.monotonic() - began_s < config.seconds:
        pieces, duration_s = batches.draw(config.batch)
        wanted = [[phone for number in numbers for phone in targets[number]] for numbers in pieces]
        value = training.learn(augmenter.batch(pieces, duration_s), wanted)
        if training.step % 50 == 0:
            loss = 0.8 * loss + 0.2 * float(value) if loss else float(value)
        if training.step % 500 == 0:
            print(f"step {training.step}, {time.monotonic() - began_s:.0f} s, loss {loss:.3f}", flush=True)
        if time.monotonic() - saved_s > 60:
            training.save()
            saved_s = time.monotonic()
    training.save()
    rate = phone_error_rate(training.averaged(), watching)
    print(f"step {training.step}, {time.monotonic() - began_s:.0f} s, clean phone error rate {rate:.4f}", flush=True)
    if training.step < settings.steps:
        sys.exit(f"{settings.steps - training.step} steps are left: run this again")


if __name__ == "__main__":
    main()
