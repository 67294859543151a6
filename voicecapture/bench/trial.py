"""What an engine made of one case, and how long every step took."""

from dataclasses import dataclass

from voicecapture.bench.cases import Case
from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds that each step took for one utterance."""

    wait_s: float | None
    """From the last chunk of voice until the pause was long enough; None if the recording ended before."""
    early_s: float
    """How long before the end of that wait the decoding began: a pause may go on after a first look."""
    decode_s: float
    decide_s: float
    store_s: float
    """Sound and entry to the disk."""
    voice_s: float | None
    """From there to the first word of the read-back: its tone, and making its sound; None if nothing is said. The
    sound card's own delay is not in it."""

    @property
    def total_s(self) -> float | None:
        """From the last voice to the first word of the read-back; None where a part is unknown."""
        if self.wait_s is None or self.voice_s is None:
            return None
        late_s = max(0.0, self.decode_s - self.early_s)
        return self.wait_s + late_s + self.decide_s + self.store_s + self.voice_s


@dataclass(frozen=True, slots=True)
class HeardUtterance:
    """One utterance as the engine heard it."""

    utterance: Utterance
    """Without its samples."""
    hearing: Hearing
    timing: Timing


@dataclass(frozen=True, slots=True)
class Trial:
    """One case, and all utterances that were found in it."""

    case: Case
    utterances: tuple[HeardUtterance, ...]
    duration_s: float
    """Of the whole sound, pauses and all."""
