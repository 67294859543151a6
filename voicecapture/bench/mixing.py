"""The sound of a case: a recording as it is, or in shed noise."""

from functools import cache

import numpy as np
import soxr

from voicecapture.audio import SAMPLE_RATE_HZ, read_recording
from voicecapture.bench.cases import NOISE_S, SHEDS, Case
from voicecapture.bench.manifest import NOISE
from voicecapture.errors import AudioError
from voicecapture.synthesis.shed import Samples, mix, room, shed_noise

_SHED_S = 40.0
_NARROW_HZ = 8000
_FIRST_SHED, _FIRST_NOISE = 2_000_000, 3_000_000
"""Seeds from here on are in no training and in no shipped recording."""
_LEAD_S, _TAIL_S = 4.0, 1.5
"""Noise before the speech, as in a shed: how loud it is is told from the last seconds. The tail is longer than any
pause that ends an utterance."""


def sound(case: Case) -> Samples:
    """What is played to the listener, mono at 16 kHz, shape (samples,).

    A clean recording is followed by silence, so that the pause after it can be waited for. One with noise of its own
    is heard as it is, for silence after noise would falsify it.

    Raises:
        AudioError: If the recording cannot be read or holds no speech to mix.
    """
    if case.recording.kind == NOISE and not case.recording.voice:
        return shed_noise(NOISE_S, _FIRST_NOISE + case.number)
    samples = np.concatenate([chunk.samples for chunk in read_recording(case.recording.file)])
    if case.mixed_db is None:
        return np.pad(samples, (0, int(_TAIL_S * SAMPLE_RATE_HZ))) if case.recording.is_clean else samples
    speech = np.pad(samples, (int(_LEAD_S * SAMPLE_RATE_HZ), int(_TAIL_S * SAMPLE_RATE_HZ)))
    shed = _shed(case.number % SHEDS, max(_SHED_S, len(speech) / SAMPLE_RATE_HZ))
    start = int(np.random.default_rng(case.number).integers(0, len(shed) - len(speech) + 1))
    try:
        heard = mix(room(speech, case.number), shed[start : start + len(speech)], case.mixed_db)
    except AudioError as error:
        raise AudioError(f"{case.recording.file}: {error}") from error
    return through_8_khz(heard) if case.is_narrow else heard


def through_8_khz(samples: Samples) -> Samples:
    """What a line of 8 kHz leaves of sound at 16 kHz: nothing above 4 kHz."""
    narrow = soxr.resample(samples, SAMPLE_RATE_HZ, _NARROW_HZ)
    return np.asarray(soxr.resample(narrow, _NARROW_HZ, SAMPLE_RATE_HZ)[: len(samples)], np.float32)


@cache
def _shed(number: int, duration_s: float) -> Samples:
    return shed_noise(duration_s, _FIRST_SHED + number)
