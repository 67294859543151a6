"""The speech engines by name."""

from voicecapture.errors import ModelError
from voicecapture.recogniser import Recogniser

ENGINES = ("listener", "vosk", "whisper")
"""Ours, the default; Vosk with any model; Whisper tiny.en with free text, for comparison in the bench."""


def make_recogniser(engine: str, model: str | None) -> Recogniser:
    """Build a speech engine; only the chosen one is loaded.

    Raises:
        ModelError: If the engine is unknown or its model cannot be loaded.
    """
    if engine == "listener":
        from voicecapture.recogniser.listener import Listener

        return Listener()
    if engine == "vosk":
        from voicecapture.recogniser.vosk import Vosk
        from voicecapture.speech_models import find_model

        if model is None:
            raise ModelError(
                "--engine vosk: no model was named; it needs one. Name a folder with --model, or add one with "
                "`voicecapture model add FOLDER_OR_ZIP`."
            )
        return Vosk(find_model(model))
    if engine == "whisper":
        from voicecapture.recogniser.whisper import Whisper

        return Whisper()
    raise ModelError(f"--engine {engine}: unknown; expected {', '.join(ENGINES)}. Name one of these.")
