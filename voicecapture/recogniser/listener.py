"""The listener: our phone model, and an exact search of herd and grammar over what it hears."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from voicecapture.language.grammar import Tokens
from voicecapture.language.phrase import Phrase, interpret
from voicecapture.recogniser import Hearing, Language, Reading, certainty_of
from voicecapture.recogniser.acoustic import MODEL, AcousticModel
from voicecapture.recogniser.calibration import read_calibration
from voicecapture.recogniser.ctc import Floats, Search, log_likelihoods, relative_probabilities, tokens_of
from voicecapture.recogniser.phone_network import PhoneNetwork, spell_out
from voicecapture.segmenter import Utterance

_DRAWS, _FLAT_DRAWS = 200, 150
_FLATNESS = 0.7
"""Power on the probabilities for the second set of draws, which brings in what is unlikely but sounds alike."""
_CANDIDATES = 30
_TEMPERATURE = 0.6
"""Power on the likelihoods. The frames of a phone model are not independent, so that its posteriors are too sure."""
_KEPT_READINGS = 5
_OUT_OF_REACH = 40.0
"""Strangeness in nats from which nothing sayable is looked for; well above the bar for talk."""
_FEW_DRAWS = 20
_OUT_OF_SIGHT = 12.0
"""Nats by which a beginning may fit worse than a free phone string and still be shown."""
_SEED = 417


class Listener:
    """A `Recogniser` and `Follower` on the shipped acoustic model."""

    def __init__(self, folder: Path = MODEL, is_calibrated: bool = True) -> None:
        """Load the model.

        Args:
            folder: Holds the acoustic model and its calibration.
            is_calibrated: Give chances; otherwise posteriors as they are, which is what calibration starts from.

        Raises:
            ModelError: If it cannot be loaded.
        """
        self._model = AcousticModel(folder)
        self._calibration = read_calibration(folder / "calibration.json") if is_calibrated else None
        self._search: Search | None = None
        self._grammar_id = 0

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        """See `Recogniser`."""
        search = self._search_for(language)
        log_probabilities = self._model.phone_log_probabilities(utterance.samples)
        relative = relative_probabilities(log_probabilities)
        everything, wordings = self._candidates(search, relative)
        heard = self._model.spell(log_probabilities)
        if not wordings:
            return Hearing((), heard, -everything)
        meanings = list(wordings)
        likelihoods = log_likelihoods(search.network, relative, meanings)
        fits: dict[Phrase, tuple[float, str]] = {}
        for tokens, likelihood in zip(meanings, likelihoods.tolist(), strict=True):
            phrase = interpret(tokens)
            before, words = fits.get(phrase, (-math.inf, wordings[tokens]))
            fits[phrase] = (float(np.logaddexp(before, likelihood)), words)
        readings = self._readings(fits, everything, language)
        strangeness = max(0.0, -max(likelihood for likelihood, _ in fits.values()))
        hearing = Hearing(readings[:_KEPT_READINGS], heard, strangeness, certainty_of(readings))
        return self._calibration.applied(hearing, utterance.snr_db) if self._calibration else hearing

    def words_so_far(self, samples: NDArray[np.float32], language: Language) -> str:
        """See `Follower`."""
        search = self._search_for(language)
        search.forward(relative_probabilities(self._model.phone_log_probabilities(samples)))
        if search.begun() < -_OUT_OF_SIGHT:
            return ""
        walks = search.draw(_FEW_DRAWS, np.random.default_rng(_SEED), is_begun=True)
        return Counter(_wording(search.network, walk) for walk in walks).most_common(1)[0][0]

    def _search_for(self, language: Language) -> Search:
        """The search over the grammar's phones, built once for a grammar."""
        if self._search is None or self._grammar_id != id(language.grammar):
            index = {phone: i + 1 for i, phone in enumerate(self._model.phones)}
            self._search = Search(spell_out(language.grammar, index))
            self._grammar_id = id(language.grammar)
        return self._search

    @staticmethod
    def _candidates(search: Search, relative: Floats) -> tuple[float, dict[Tokens, str]]:
        """Meanings worth scoring, each with a wording, and the log-probability of everything sayable."""
        rng = np.random.default_rng(_SEED)
        counts: dict[tuple[int, ...], int] = {}

        def count(walks: Iterable[tuple[int, ...]]) -> None:
            for walk in walks:
                counts[walk] = counts.get(walk, 0) + 1

        everything = search.forward(relative)
        if everything < -_OUT_OF_REACH:
            # No meaning can be likelier than all of them together: long talk need not be searched.
            return everything, {}
        count(search.draw(_DRAWS, rng))
        search.forward(relative**_FLATNESS)
        count(search.draw(_FLAT_DRAWS, rng))
        wordings: dict[Tokens, str] = {}
        for walk in sorted(counts, key=lambda walk: -counts[walk]):
            tokens = tokens_of(search.network, walk, rng)
            wordings.setdefault(tokens, _wording(search.network, walk))
            if len(wordings) == _CANDIDATES:
                break
        return everything, wordings

    def _readings(
        self, fits: dict[Phrase, tuple[float, str]], everything: float, language: Language
    ) -> tuple[Reading, ...]:
        """Posterior of each phrase; what the candidates do not explain stays in the denominator."""
        scores = {phrase: _TEMPERATURE * fit + language.log_prior(phrase) for phrase, (fit, _) in fits.items()}
        explained = float(np.logaddexp.reduce([fit for fit, _ in fits.values()]))
        total = float(np.logaddexp.reduce(list(scores.values())))
        if everything > explained:
            unexplained = everything + math.log1p(-math.exp(explained - everything))
            total = float(np.logaddexp(total, _TEMPERATURE * unexplained - 2.0))
        best = sorted(scores, key=lambda phrase: -scores[phrase])
        return tuple(Reading(phrase, fits[phrase][1], math.exp(scores[phrase] - total)) for phrase in best)


def _wording(network: PhoneNetwork, walk: Sequence[int]) -> str:
    """The words of a walk that were said to their end."""
    words = [network.words[node] for node in walk if network.words[node]]
    is_cut = len(walk) > 0 and network.junctions[walk[-1]] < 0
    return " ".join(words[:-1] if is_cut else words)
