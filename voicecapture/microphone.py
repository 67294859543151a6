"""Which microphone: chosen and remembered by its name and host API, and never swapped for another.

Numbers of devices change with every plug; PortAudio's own choice changes with them.
"""

import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import platformdirs

from voicecapture.audio import load_sounddevice
from voicecapture.errors import AudioError

_CARD_NUMBERS = re.compile(r" \(hw:\d+,\d+\)$")
"""ALSA puts the numbers of card and device behind the name; they change from one plugging to the next."""
_CHOOSE = "Choose one with --device; `voicecapture listen --list-devices` names them"


@dataclass(frozen=True, slots=True)
class Microphone:
    """A microphone as a person knows it."""

    name: str
    host_api: str
    """The way to it: one microphone may be there through several."""
    leads_to: str = ""
    """What a sound server calls the microphone behind it; empty without a server, and before it was opened."""

    def __str__(self) -> str:
        return f"{self.name}, {self.host_api}"


def microphones() -> list[tuple[int, Microphone]]:
    """The microphones of this machine with PortAudio's numbers of them, those of the default host API first.

    Raises:
        AudioError: If PortAudio is missing.
    """
    sounddevice = load_sounddevice()
    apis = [str(api["name"]) for api in sounddevice.query_hostapis()]
    found = [
        (int(device["hostapi"]), int(device["index"]), _CARD_NUMBERS.sub("", str(device["name"])))
        for device in sounddevice.query_devices()
        if device["max_input_channels"] > 0
    ]
    default = _default(sounddevice)
    first = next((api for api, index, _ in found if index == default), 0)
    found.sort(key=lambda one: one[0] != first)
    return [(index, Microphone(name, apis[api])) for api, index, name in found]


def choose(device: str | None = None) -> Microphone:
    """The microphone that is meant, which must be there.

    Args:
        device: Part of its name, or its name and host API as they are listed; without it the one that was used last,
            or at the first time the system's own choice.

    Raises:
        AudioError: If PortAudio is missing, the microphone is not there, or it is not clear which one is meant.
    """
    there = microphones()
    if device is None:
        last = remembered()
        if last is not None:
            find(last, there)
            return last
        default = _default(load_sounddevice())
        for index, microphone in there:
            if index == default:
                return microphone
        raise AudioError(f"the default microphone: there is none; {_listed(there)}. Plug one in. {_CHOOSE}.")
    said = device.casefold()
    exact = [m for _, m in there if said in (m.name.casefold(), str(m).casefold())]
    meant = list(dict.fromkeys(exact or [m for _, m in there if said in str(m).casefold()]))
    # The host APIs of a system show the same microphones over again.
    meant = [m for m in meant if m.host_api == meant[0].host_api]
    if len(meant) != 1:
        found = "several: " + "; ".join(map(str, meant)) if meant else "none is called so; " + _listed(there)
        raise AudioError(f"microphone '{device}': {found}. {_CHOOSE}.")
    return meant[0]


def find(microphone: Microphone, there: list[tuple[int, Microphone]] | None = None) -> int:
    """PortAudio's number of a microphone now.

    Raises:
        AudioError: If PortAudio is missing, or the microphone is not there, or there are two of that name.
    """
    there = microphones() if there is None else there
    numbers = [i for i, m in there if (m.name, m.host_api) == (microphone.name, microphone.host_api)]
    if len(numbers) == 1:
        return numbers[0]
    if numbers:
        raise AudioError(f"microphone '{microphone}': {len(numbers)} of that name; expected one. Unplug the others.")
    raise AudioError(f"microphone '{microphone}': not there; {_listed(there)}. Plug it in, or choose with --device.")


def _default(sounddevice: Any) -> int:
    """PortAudio's number of the system's own choice; -1 if there is none."""
    return int(sounddevice.default.device[0])


def list_microphones() -> str:
    """The microphones, one a line, as `choose` takes them.

    Raises:
        AudioError: If PortAudio is missing.
    """
    there = microphones()
    try:
        last = remembered()
    except AudioError:
        last = None
    lines = [
        f"{microphone}{'   (used last)' if last and str(last) == str(microphone) else ''}" for _, microphone in there
    ]
    return "\n".join(lines) or "no microphones"


def _listed(there: list[tuple[int, Microphone]]) -> str:
    names = "; ".join(dict.fromkeys(str(m) for _, m in there))
    return f"found: {names}" if names else "found none"


# ---- the one that was used last ------------------------------------------------------------------


def choice_file() -> Path:
    """Where the choice is kept."""
    return platformdirs.user_config_path("voicecapture") / "microphone.json"


def remembered() -> Microphone | None:
    """The microphone that was used last; None before the first time.

    Raises:
        AudioError: If what is kept cannot be read.
    """
    path = choice_file()
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return Microphone(str(kept["name"]), str(kept["host_api"]), str(kept["leads_to"]))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise AudioError(
            f"{path}: cannot be read ({error!r}); expected the microphone used last. {_CHOOSE}."
        ) from error


def remember(microphone: Microphone) -> None:
    """Keep the choice for the next day.

    Raises:
        AudioError: If it cannot be written.
    """
    path = choice_file()
    unfinished = path.with_suffix(".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        unfinished.write_text(json.dumps(asdict(microphone), indent=1), encoding="utf-8")
        unfinished.replace(path)
    except OSError as error:
        raise AudioError(
            f"{path}: the microphone cannot be remembered ({error.strerror}). Name it with --device the next time."
        ) from error
