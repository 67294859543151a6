"""Which microphone: by name and host API, and never another in its place."""

import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from voicecapture import microphone
from voicecapture.errors import AudioError
from voicecapture.microphone import Microphone, choose, find, list_microphones, remember, remembered

HEADSET, LID = "Barn headset: USB Audio (hw:1,0)", "Lid: Analog (hw:0,0)"


class Machine:
    """What PortAudio knows: devices as name, host API and input channels; the default is the first microphone."""

    def __init__(self) -> None:
        self.devices: list[tuple[str, int, int]] = [(LID, 0, 2), (HEADSET, 0, 1), ("Loudspeaker", 0, 0)]
        self.apis = ["ALSA", "JACK Audio Connection Kit"]

    def query_hostapis(self) -> list[dict[str, Any]]:
        return [{"name": name} for name in self.apis]

    def query_devices(self) -> list[dict[str, Any]]:
        return [
            {"name": name, "hostapi": api, "index": index, "max_input_channels": channels}
            for index, (name, api, channels) in enumerate(self.devices)
        ]

    @property
    def default(self) -> SimpleNamespace:
        inputs = [index for index, (_, _, channels) in enumerate(self.devices) if channels]
        return SimpleNamespace(device=(inputs[0] if inputs else -1, -1))


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Machine:
    machine = Machine()

    class SoundDevice(ModuleType):
        query_devices = staticmethod(machine.query_devices)
        query_hostapis = staticmethod(machine.query_hostapis)
        default = property(lambda _: machine.default)

    sounddevice = SoundDevice("sounddevice")
    monkeypatch.setitem(sys.modules, "sounddevice", sounddevice)
    monkeypatch.setattr(microphone, "choice_file", lambda: tmp_path / "config" / "microphone.json")
    return machine


def test_a_part_of_the_name_chooses_and_the_numbers_of_cards_are_no_part_of_it(machine: Machine) -> None:
    assert choose("headset") == Microphone("Barn headset: USB Audio", "ALSA")


def test_the_microphone_used_last_is_taken_however_it_is_numbered_now(machine: Machine) -> None:
    remember(choose("headset"))
    machine.devices = [("Barn headset: USB Audio (hw:3,0)", 0, 1), ("Webcam (hw:1,0)", 0, 1), (LID, 0, 2)]
    assert choose() == Microphone("Barn headset: USB Audio", "ALSA")
    assert find(choose()) == 0


def test_no_other_microphone_is_taken_when_the_one_used_last_is_not_there(machine: Machine) -> None:
    remember(choose("headset"))
    del machine.devices[1]
    with pytest.raises(AudioError, match=r"'Barn headset: USB Audio, ALSA': not there; found: Lid: Analog, ALSA"):
        choose()
    assert choose("lid").name == "Lid: Analog"


def test_the_same_name_at_another_host_api_is_another_microphone(machine: Machine) -> None:
    remember(choose("headset"))
    machine.devices[1] = (HEADSET, 1, 1)
    with pytest.raises(AudioError, match="not there"):
        choose()


def test_at_the_first_time_the_systems_own_choice_is_taken(machine: Machine) -> None:
    assert choose() == Microphone("Lid: Analog", "ALSA")


def test_a_number_chooses_nothing(machine: Machine) -> None:
    with pytest.raises(AudioError, match="none is called so"):
        choose("7")


def test_a_name_that_fits_several_is_asked_about(machine: Machine) -> None:
    with pytest.raises(AudioError, match="several: Lid: Analog, ALSA; Barn headset: USB Audio, ALSA"):
        choose("a")


def test_a_microphone_seen_through_two_host_apis_is_taken_by_the_systems_own(machine: Machine) -> None:
    machine.devices.insert(0, ("Barn headset: USB Audio", 1, 1))
    machine.devices[0], machine.devices[1] = machine.devices[1], machine.devices[0]
    assert choose("headset").host_api == "ALSA"
    assert choose("headset: usb audio, jack").host_api == "JACK Audio Connection Kit"


def test_two_of_one_name_cannot_be_told_apart(machine: Machine) -> None:
    machine.devices.append(("Barn headset: USB Audio (hw:2,0)", 0, 1))
    with pytest.raises(AudioError, match="2 of that name"):
        find(choose("headset"))


def test_what_is_kept_comes_back_whole(machine: Machine) -> None:
    assert remembered() is None
    remember(Microphone("pulse", "ALSA", "alsa_input.usb-barn"))
    assert remembered() == Microphone("pulse", "ALSA", "alsa_input.usb-barn")


def test_a_damaged_choice_says_how_to_choose_anew(machine: Machine) -> None:
    remember(choose("headset"))
    microphone.choice_file().write_text("{")
    with pytest.raises(AudioError, match="--device"):
        choose()
    assert choose("lid").name == "Lid: Analog"


def test_a_machine_without_microphones_says_so(machine: Machine) -> None:
    machine.devices = [("Loudspeaker", 0, 0)]
    assert list_microphones() == "no microphones"
    with pytest.raises(AudioError, match="found none"):
        choose()


def test_the_list_marks_the_one_used_last(machine: Machine) -> None:
    remember(choose("headset"))
    assert list_microphones().splitlines() == ["Lid: Analog, ALSA", "Barn headset: USB Audio, ALSA   (used last)"]


def test_a_missing_portaudio_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n")
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.syspath_prepend(tmp_path)
    for use in (list_microphones, choose):
        with pytest.raises(AudioError, match=r"apt install libportaudio2.*brew install portaudio.*--force-reinstall"):
            use()
