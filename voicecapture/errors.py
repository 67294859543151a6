"""Everything that can go wrong with the program or its inputs.

    VoiceCaptureError
    ├── AudioError      a recording or a sound device cannot be used
    ├── HerdError       a herd list cannot be read
    ├── GrammarError    a file in grammars/, or a settings file, cannot be used
    ├── ModelError      a speech model is missing, broken or unsafe
    ├── RecordError     the day's database cannot be opened or written
    │   └── DamagedError    it is ours, and its pages do not go together
    ├── ReaderError     the electronic-ID reader cannot be opened
    ├── ScreenError     the screen broke while a day was going on
    └── WebError        the screen cannot be shown in a browser

A misheard word is not an error: it is a decision to ask. An error's message has the form
"where: what was found; what was expected. What to do."
"""

from voicecapture.plain_text import visible


class VoiceCaptureError(Exception):
    """One clear sentence for the screen; `cli.py` prints it and ends with exit code 1."""

    def __init__(self, message: str) -> None:
        # What was found is quoted, and may hold anything.
        super().__init__(visible(message))


class AudioError(VoiceCaptureError):
    """A recording or a sound device cannot be used."""


class HerdError(VoiceCaptureError):
    """A herd list cannot be read; nothing of it was imported."""


class GrammarError(VoiceCaptureError):
    """A grammar, pronunciation or settings file cannot be used."""


class ModelError(VoiceCaptureError):
    """A speech model is missing, broken or unsafe to unpack."""


class RecordError(VoiceCaptureError):
    """The day's database cannot be opened or written."""


class DamagedError(RecordError):
    """A database of ours whose pages do not go together; what can be read of it can be saved."""


class ReaderError(VoiceCaptureError):
    """The electronic-ID reader cannot be opened, or there is nothing that it could tell."""


class ScreenError(VoiceCaptureError):
    """The screen broke while a day was going on; what was taken is kept."""


class WebError(VoiceCaptureError):
    """The screen cannot be shown in a browser at the address that was named."""
