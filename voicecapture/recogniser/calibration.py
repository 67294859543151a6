"""Turns what the listener makes of an utterance into chances that hold.

The posteriors of a phone model are too sure of themselves, and more so in noise. A logistic model of each field
(Platt scaling: Platt 1999, "Probabilistic Outputs for Support Vector Machines") with the fit and the noise as
further inputs gives the chance that the field of the first reading is right. `training.calibrate` fits it on
voices that were not trained on and are not reported on.
"""

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path

from voicecapture.errors import ModelError
from voicecapture.recogniser import Certainty, Hearing, Reading

_EDGE = 1e-7
"""Posteriors nearer to 0 or 1 than this are no surer."""
_STRANGEST, _LOUDEST_DB, _QUIETEST_DB = 30.0, 0.0, 30.0
"""Ranges of the inputs, beyond which they change nothing."""


@dataclass(frozen=True, slots=True)
class FieldModel:
    """Weights of the log-odds that one field is right."""

    intercept: float
    log_odds: float
    """Weight of the posterior's own log-odds."""
    strangeness: float
    """Weight of a nat of strangeness."""
    snr_db: float
    """Weight of a decibel of signal-to-noise ratio, of which anything outside 0 to 30 dB counts as these."""

    def chance(self, posterior: float, strangeness: float, snr_db: float) -> float:
        """Chance that the field is right, 0-1."""
        inputs = features(posterior, strangeness, snr_db)
        odds = sum(
            w * x for w, x in zip((self.intercept, self.log_odds, self.strangeness, self.snr_db), inputs, strict=True)
        )
        return 1 / (1 + math.exp(-odds))


def features(posterior: float, strangeness: float, snr_db: float) -> tuple[float, float, float, float]:
    """Inputs of a field's model: 1, the posterior's log-odds, strangeness in nats, signal-to-noise ratio in dB."""
    inside = min(max(posterior, _EDGE), 1 - _EDGE)
    snr_db = min(max(snr_db, _LOUDEST_DB), _QUIETEST_DB)
    return 1.0, math.log(inside / (1 - inside)), min(strangeness, _STRANGEST), snr_db


@dataclass(frozen=True, slots=True)
class Calibration:
    """One model for each field and one for the whole phrase."""

    number: FieldModel
    result: FieldModel
    age: FieldModel
    phrase: FieldModel
    entry: FieldModel
    """Not a field but whether it is an entry at all; its posterior is that of the phrase."""

    def applied(self, hearing: Hearing, snr_db: float) -> Hearing:
        """The hearing with chances in place of posteriors.

        The first reading gets the chance that it is right; the others share the rest as before.
        """
        if not hearing.readings:
            return hearing
        raw = hearing.certainty
        posteriors = {"number": raw.number, "result": raw.result, "age": raw.age, "phrase": raw.phrase}
        chances = {
            name: getattr(self, name).chance(posterior, hearing.strangeness, snr_db)
            for name, posterior in (posteriors | {"entry": raw.phrase}).items()
        }
        best, *others = hearing.readings
        share = (1 - chances["phrase"]) / max(1 - best.probability, _EDGE)
        shared = [Reading(o.phrase, o.words, min(o.probability * share, 1 - chances["phrase"])) for o in others]
        return replace(
            hearing,
            readings=(replace(best, probability=chances["phrase"]), *shared),
            certainty=Certainty(**chances),
        )


def read_calibration(file: Path) -> Calibration:
    """Read the calibration that lies beside the listener's weights.

    Raises:
        ModelError: If it cannot be read.
    """
    try:
        content = json.loads(file.read_text(encoding="utf-8"))
        return Calibration(**{name: FieldModel(**weights) for name, weights in content["fields"].items()})
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise ModelError(f"{file}: the calibration cannot be read ({error}). Reinstall voicecapture.") from error
