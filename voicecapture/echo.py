"""Whether the microphone hears the read-back: a loudspeaker instead of an earpiece. Pure.

What the program says must never be taken for the vet. Time alone cannot tell them apart: with an earpiece the vet
speaks over the read-back all day, and asking about each of these entries would be worse than none. So the sound that
was played is looked for in the sound that was heard. Where it is found nothing is taken without asking, and where
nothing else is there, and what was heard is what was said, it is passed over.

The measure is the correlation of a whole sentence with the best place in what was heard, in a band in which two sound
cards with clocks 100 ppm apart still agree after 4 s. Measured on the shipped read-back voice: 0.38 to 0.78 through
a loudspeaker and a hard-walled room as loud as the direct sound, down to equal noise, from 1 s on; at most 0.37
against 44 utterances of 11 other voices. Half a second of it gave up to 0.68 against them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from voicecapture.audio import SAMPLE_RATE_HZ, Samples

_BAND_HZ = (300, 2000)
_SURE_S, _LEAST_S = 1.0, 0.5
_SURE_BAR, _SHORT_BAR = 0.4, 0.7
"""Correlation from which a sentence of at least `_SURE_S`, or at least `_LEAST_S`, counts as heard."""
_ECHO_S = 0.8
"""A read-back that is heard ends so long after it was played: room, and the tail of the utterance."""
_LEAD_S = 0.5
"""And begins so long before: the pre-roll of the utterance."""
_QUIET = 0.02
"""Of the peak: less is silence at the ends of a sentence."""
_RINGING_S = 0.05
"""The filter rings so long beyond the ends."""
_LEAST_POWER = 0.05
"""Of the loudest place: a correlation with less is one with noise."""


@dataclass(frozen=True, slots=True)
class Echo:
    """Where the read-back is in what was heard."""

    first: int
    """Its first sample."""
    last: int
    """One past its last sample; both may lie outside of what was heard."""
    said: Samples
    """What was played there, 16 kHz."""

    def is_all_of(self, length: int) -> bool:
        """Whether nothing but the read-back is in an utterance of `length` samples."""
        return self.first <= _LEAD_S * SAMPLE_RATE_HZ and self.last >= length - _ECHO_S * SAMPLE_RATE_HZ


def find_echo(heard: Samples, sounded: Sequence[Samples]) -> Echo | None:
    """Look for what was played in what was heard.

    Args:
        heard: Mono, 16 kHz, shape (samples,).
        sounded: Sentences as far as they were played, mono, 16 kHz, in order.

    Returns:
        From the first of the sentences that is heard to the last; None if none is.
    """
    found = [place for sentence in sounded if (place := _place(sentence, heard)) is not None]
    if not found:
        return None
    said = np.concatenate([place.said for place in found])
    return Echo(min(place.first for place in found), max(place.last for place in found), said)


def _place(sentence: Samples, heard: Samples) -> Echo | None:
    loud = np.flatnonzero(np.abs(sentence) > _QUIET * np.abs(sentence).max(initial=0.0))
    if not len(loud) or len(heard) == 0:
        return None
    spoken = sentence[loud[0] : loud[-1] + 1]
    said = _banded(spoken)
    count = len(said)
    if count < _LEAST_S * SAMPLE_RATE_HZ:
        return None
    # Half of a sentence may lie before or after what was heard.
    around = np.pad(_banded(heard), count // 2)
    if len(around) < count:
        return None
    products = np.abs(_correlation(around, said))
    energies = np.concatenate(([0.0], np.cumsum(np.square(around))))
    energies = energies[count:] - energies[:-count]
    floor = max(_LEAST_POWER * float(energies.max()), 1e-12)
    agreement = products / np.sqrt(np.maximum(energies, floor) * np.sum(np.square(said)))
    best = int(np.argmax(agreement))
    if agreement[best] < (_SURE_BAR if count >= _SURE_S * SAMPLE_RATE_HZ else _SHORT_BAR):
        return None
    return Echo(best - count // 2, best - count // 2 + count, spoken)


# Both by numpy: scipy.signal would cost a second at the start of a day, and 60 MB until its end.


def _correlation(around: Samples, said: Samples) -> Samples:
    """The product of `said` with every stretch of its length in `around`."""
    count = _power_of_two(len(around))
    spectrum = np.fft.rfft(around, count) * np.conj(np.fft.rfft(said, count))
    return np.asarray(np.fft.irfft(spectrum, count)[: len(around) - len(said) + 1], np.float32)


def _banded(samples: Samples) -> Samples:
    """The band of a Butterworth filter of fourth order, without its phase, which the correlation does not need."""
    count = _power_of_two(len(samples) + round(_RINGING_S * SAMPLE_RATE_HZ))
    hertz = np.fft.rfftfreq(count, 1 / SAMPLE_RATE_HZ)
    low, high = _BAND_HZ
    away = (hertz**2 - low * high) / np.maximum(hertz * (high - low), 1e-9)
    spectrum = np.fft.rfft(samples, count) / np.sqrt(1 + away**8)
    return np.asarray(np.fft.irfft(spectrum, count)[: len(samples)], np.float32)


def _power_of_two(least: int) -> int:
    return 1 << max(0, least - 1).bit_length()
