"""Vosk, with any model that can be held to a list of words: the only import of vosk.

Vosk knows the words of the grammar but not their order, and it fits what it hears to them whatever was said: words
from outside the list come out as words of the list with full confidence (github.com/alphacep/vosk-api, issue 741).
So Vosk alone never takes an entry: its probabilities are held below the bar, and every entry is asked about.
"""

import json
import math
import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import vosk

from voicecapture.audio import SAMPLE_RATE_HZ
from voicecapture.errors import ModelError
from voicecapture.recogniser import Hearing, Language, certainty_of
from voicecapture.recogniser.words import readings_of
from voicecapture.segmenter import Utterance

HIGHEST_PROBABILITY = 0.9
"""Under the bar for entries, over the bar for the commands and answers that settle a question."""
DOUBTFUL_STRANGENESS = 14.0
"""Nats for an utterance that may hold words of no grammar: over the bar to take it, under the bar to call it talk."""

_UNKNOWN_WORD = "[unk]"
"""Stands for every other word, in the models that have it; the Korean one has not (vosk-api, issue 2041)."""
_ALTERNATIVES = 5
_SILENT = -3
"""Kaldi's log level under which neither notes (0), warnings (-1) nor errors (-2) are printed."""


class Vosk:
    """A `Recogniser` on a Vosk model."""

    def __init__(self, model_folder: Path) -> None:
        """Load the model.

        Raises:
            ModelError: If the folder holds no model that Vosk can load.
        """
        self._folder = model_folder
        self._model = _load(model_folder)
        self._has_unknown_word = _knows(self._model, _UNKNOWN_WORD)

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        """See `Recogniser`.

        Raises:
            ModelError: If the model knows no word of the grammar.
        """
        phrases = [word.replace("_", " ") for word in language.grammar.words]
        known = [phrase for phrase in phrases if _knows(self._model, phrase)]
        if not known:  # an empty list would crash the library
            raise ModelError(
                f"{self._folder}: the model knows no word of the grammar; expected a model of the grammar's "
                "language. Name another model."
            )
        if self._has_unknown_word:
            known.append(_UNKNOWN_WORD)
        recogniser = vosk.KaldiRecognizer(self._model, SAMPLE_RATE_HZ, json.dumps(known, ensure_ascii=False))
        recogniser.SetWords(True)
        recogniser.SetMaxAlternatives(_ALTERNATIVES)
        # In one piece, so that a pause inside the utterance does not cut it in two results.
        recogniser.AcceptWaveform((np.clip(utterance.samples, -1, 1) * 32767).astype("<i2").tobytes())
        return hearing_of(json.loads(recogniser.FinalResult()), language, self._has_unknown_word)


def hearing_of(result: dict[str, Any], language: Language, has_unknown_word: bool) -> Hearing:
    """What a final result of Vosk means.

    With alternatives asked for, vosk 0.3.45 gives `{"alternatives": [{"confidence", "text", "result"}]}`. The
    confidence is no probability but the log-likelihood of the whole sentence (hundreds of nats), and the words lose
    their own `conf`; both are as well, for only the differences between alternatives tell anything.

    Args:
        result: The parsed JSON, best alternative first.
        language: What may be said now.
        has_unknown_word: The model can say that it heard none of the words. One that cannot turns all talk into
            words, so that nothing from it counts as clearly heard.
    """
    alternatives = [(str(a["text"]).split(), float(a["confidence"])) for a in result["alternatives"]]
    best = alternatives[0][0]
    unknown = best.count(_UNKNOWN_WORD)
    hypotheses = [(_grammar_words(words, language.grammar.words), score) for words, score in alternatives]
    readings = readings_of(hypotheses, language)
    strangeness = 0.0
    if unknown or not has_unknown_word:
        strangeness = DOUBTFUL_STRANGENESS
    if not readings or 2 * unknown > len(best):
        strangeness = math.inf
    capped = tuple(
        replace(reading, probability=min(reading.probability, HIGHEST_PROBABILITY)) for reading in readings
    )
    return Hearing(capped, " ".join(best), strangeness, certainty_of(capped))


def _grammar_words(words: Sequence[str], grammar_words: Iterable[str]) -> list[str]:
    """The words without unknown ones; a finding of several words is one word to the grammar."""
    text = f" {' '.join(word for word in words if word != _UNKNOWN_WORD)} "
    for joined in grammar_words:
        if "_" in joined:
            text = text.replace(f" {joined.replace('_', ' ')} ", f" {joined} ")
    return text.split()


def missing_words(model_folder: Path, words: Iterable[str]) -> tuple[str, ...]:
    """Those of `words` that a model cannot hear.

    Raises:
        ModelError: If Vosk cannot load the model.
    """
    model = _load(model_folder)
    return tuple(word for word in words if not _knows(model, word.replace("_", " ")))


def _load(folder: Path) -> vosk.Model:
    vosk.SetLogLevel(_SILENT)
    try:
        return vosk.Model(str(folder))
    except Exception as error:  # vosk raises nothing narrower
        raise ModelError(
            f"{folder}: Vosk cannot load it; expected a Vosk model (am, conf, graph). Name its folder."
        ) from error


def _knows(model: vosk.Model, phrase: str) -> bool:
    return all(model.vosk_model_find_word(word) >= 0 for word in phrase.split())


if __name__ == "__main__":  # how a model is tried before it is kept: words on stdin, those it cannot hear on stdout
    try:
        print(json.dumps(missing_words(Path(sys.argv[1]), json.load(sys.stdin))))
    except ModelError:
        sys.exit(1)
