"""The voice that reads back, and how it pronounces what there is to say."""

import json
import re
from collections import OrderedDict
from pathlib import Path
from typing import Any

import numpy as np

from voicecapture.audio import Samples

VOICE_RATE_HZ = 24_000
PEAK = 0.3
"""Largest magnitude of anything that sounds in the ear."""
PHRASES = Path(__file__).parent / "models" / "readback.json"
"""Phrases of the read-back and their phonemes, made by `synthesis/readback_phrases.py`."""

_CACHED_SENTENCES = 64
"""About 15 MB; a new sentence of known phrases takes some 12 ms."""
_SILENCE, _LEAD_KEPT_S = 0.01, 0.01
"""Share of a sentence's peak under which it has not begun; kept before it, seconds."""


class Phonemes:
    """Sentences to phonemes, from the phrases that the read-back is made of.

    The voice's own dictionaries take 95 MB and half a second; they are loaded for other words only, such as a
    practice's own findings.
    """

    def __init__(self) -> None:
        self._known: dict[str, str] = json.loads(PHRASES.read_text(encoding="utf-8"))
        longest_first = sorted(map(re.escape, self._known), key=len, reverse=True)
        self._phrase = re.compile(rf"(?<![\w'-])(?:{'|'.join(longest_first)})(?![\w'-])")
        self._dictionary: Any = None

    def __call__(self, text: str) -> str:
        """The phonemes of a text, in the alphabet of the voice."""
        if re.fullmatch(r"[ ,.:?]*", self._phrase.sub("", text)):
            return self._phrase.sub(lambda phrase: self._known[phrase[0]], text).strip()
        if self._dictionary is None:
            from hibari.g2p import G2P

            self._dictionary = G2P()
        return str(self._dictionary(text))


class ReadBackVoice:
    """The voice inside the hibari-tts package; nothing is downloaded."""

    def __init__(self) -> None:
        # A quarter of a second to load, at the start of every command; only what speaks asks for it.
        from hibari import Hibari

        self._speak = Hibari(g2p=Phonemes())
        self._sentences: OrderedDict[str, Samples] = OrderedDict()

    def samples(self, text: str) -> Samples:
        """A sentence at 24 kHz, peak 0.3 at most; sentences said before come from memory."""
        if text not in self._sentences:
            spoken = _without_lead(self._speak(text, seed=0))
            peak = float(np.abs(spoken).max()) if len(spoken) else 0.0
            self._sentences[text] = spoken * min(1.0, PEAK / peak) if peak else spoken
            if len(self._sentences) > _CACHED_SENTENCES:
                self._sentences.popitem(last=False)
        self._sentences.move_to_end(text)
        return self._sentences[text]


def _without_lead(spoken: Samples) -> Samples:
    """A sentence without the silence before it: a third of a second, in which the vet would wait."""
    loud = np.flatnonzero(np.abs(spoken) > _SILENCE * np.abs(spoken).max(initial=0.0))
    return spoken[max(0, loud[0] - round(_LEAD_KEPT_S * VOICE_RATE_HZ)) :] if len(loud) else spoken
