"""The bars to take something without asking, and the sound that is not trusted. Pure."""

from dataclasses import dataclass

from voicecapture.recogniser import Hearing
from voicecapture.segmenter import Utterance

TOO_LOUD = "too loud to trust"
OVERDRIVEN = "the microphone is overdriven"
BROKEN = "some of the sound was lost"
CUT = "cut off in the middle of long talk"
IN_ONE_BREATH = "said in one breath with talk"
OVER_READ_BACK = "heard over the read-back"
"""Words were spoken while the loudspeaker was."""
DISTRUST = (TOO_LOUD, OVERDRIVEN, BROKEN, CUT, IN_ONE_BREATH, OVER_READ_BACK)


@dataclass(frozen=True, slots=True)
class DecisionSettings:
    """The bars to take something without asking. DEVELOPERS.md tells how they were set."""

    wrong_costs: float = 100.0
    """Questions that a wrong entry which nobody notices is worth. An entry is taken where the chance that it is
    wrong costs less than a question."""
    least_snr_db: float = 6.5
    """Estimated signal-to-noise ratio below which nothing is taken without asking. The estimate counts the noise
    under the voice (`Utterance.snr_db`): this is a voice some 2 or 3 dB louder than the noise."""
    accept_strangeness: float = 8.0
    """Nats by which an entry may fit worse than a free phone string and still be taken."""
    talk_strangeness: float = 26.0
    """Nats from which an utterance is talk or noise."""
    entry_chance: float = 0.0002
    """Chance of being meant for the listener below which an utterance is talk."""
    command_probability: float = 0.8
    """Posterior from which a command or an answer is followed."""
    answer_window_s: float = 20.0
    """Seconds after a question in which the next words may settle it."""
    join_window_s: float = 6.0
    """Seconds between a lone cow number and the result that belongs to it."""
    reader_window_s: float = 12.0
    """Seconds for which a cow that was read stands at the gate. Cows come every 6 to 12 s: with less, a slow scan
    loses its cow; with more, the result of a cow who was not read might go to the one before her."""

    @property
    def accept_probability(self) -> float:
        """Chance of being right from which an entry is taken."""
        return 1 - 1 / self.wrong_costs


def distrust(utterance: Utterance, settings: DecisionSettings) -> str:
    """Why nothing in this sound may be taken without asking; empty if it may."""
    if utterance.has_gap:
        return BROKEN
    if utterance.is_cut:
        return CUT
    if utterance.is_clipped:
        return OVERDRIVEN
    return TOO_LOUD if utterance.snr_db < settings.least_snr_db else ""


def is_talk(hearing: Hearing, settings: DecisionSettings) -> bool:
    """Whether an utterance is passed over as talk or noise."""
    return hearing.strangeness > settings.talk_strangeness or hearing.certainty.entry < settings.entry_chance
