"""Milking-shed noise, room echo, and mixing speech into them at a known signal-to-noise ratio.

Everything is mono at 16 kHz and repeats exactly for the same seed. The levels, rates and spectra of the
shed are what is commonly heard in one, written down from memory; no shed was measured for them.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from voicecapture.errors import AudioError

Samples = NDArray[np.float32]
_Signal = NDArray[np.float64]

SAMPLE_RATE_HZ = 16_000

_MARGIN_DB = 15.9
_ENVELOPE_TIME_CONSTANT_S = 0.03
_HANGOVER_S = 0.2
_SPEECH_LEVEL_DB = -26.0
"""Nominal active speech level in dB re full scale, customary in ITU-T speech tests (from memory)."""


# ---- levels ---------------------------------------------------------------------------------------


def _held_envelope(samples: Samples) -> _Signal:
    """Smoothed magnitude of the samples, each peak held for the hangover; shape (samples,)."""
    decay = np.exp(-1 / (SAMPLE_RATE_HZ * _ENVELOPE_TIME_CONSTANT_S))
    envelope = np.abs(samples.astype(np.float64))
    for _ in range(2):
        envelope = lfilter([1 - decay], [1, -decay], envelope)
    hangover = int(SAMPLE_RATE_HZ * _HANGOVER_S)
    return np.asarray(maximum_filter1d(envelope, hangover, origin=(hangover - 1) // 2, mode="constant"))


def active_speech_level_db(samples: Samples) -> float:
    """Level of the speech alone, its pauses left out, in dB re full scale (a square wave of 1.0 is 0 dB).

    The idea of ITU-T P.56, method B simplified: speech is active where its envelope is no more than
    15.9 dB below the level that the active part has, a condition that one level fulfils.

    Args:
        samples: Mono, shape (samples,), at 16 kHz, within -1 and 1.

    Raises:
        AudioError: If there is nothing that lasts: silence, or a lone click.
    """
    energy = float(np.sum(np.square(samples, dtype=np.float64)))
    held = np.sort(_held_envelope(samples))
    threshold_db = np.arange(-100.0, 0.1, 0.5)
    active_samples = len(held) - np.searchsorted(held, 10 ** (threshold_db / 20))
    level_db = 10 * np.log10(max(energy, 1e-20) / np.maximum(active_samples, 1))
    excess_db = level_db - threshold_db - _MARGIN_DB
    # A low threshold counts everything as active. Raised, it first meets the condition at the speech's level.
    crossing = int(np.argmax((excess_db < 0) & (active_samples > 0)))
    if crossing == 0:
        raise AudioError(f"speech: nothing audible in {len(samples)} samples; expected speech. Record it again.")
    pair = slice(crossing - 1, crossing + 1)
    return float(np.interp(0, -excess_db[pair], level_db[pair]))


def active_speech(samples: Samples) -> NDArray[np.bool_]:
    """Where the speech is active, as `active_speech_level_db` counts it; shape (samples,)."""
    threshold_db = active_speech_level_db(samples) - _MARGIN_DB
    return np.asarray(_held_envelope(samples) >= 10 ** (threshold_db / 20))


def mix(speech: Samples, noise: Samples, snr_db: float) -> Samples:
    """Speech in noise, at -26 dB re full scale or at what leaves the loudest peak unclipped.

    The ratio compares the active speech level with the level of the noise under that active speech, so a
    clank in a pause does not count.

    Args:
        speech: Mono, shape (samples,), at 16 kHz.
        noise: As long as the speech or longer; its beginning is used.
        snr_db: Signal-to-noise ratio in dB.

    Raises:
        AudioError: If the speech is silent or the noise is shorter than the speech.
    """
    if len(noise) < len(speech):
        raise AudioError(
            f"noise: {len(noise)} samples for {len(speech)} of speech; expected at least as many. Make it longer."
        )
    noise = noise[: len(speech)]
    speech_db = active_speech_level_db(speech)
    noise_db = _rms_db(noise[active_speech(speech)])
    mixed = speech + noise * 10 ** ((speech_db - snr_db - noise_db) / 20)
    mixed *= 10 ** ((_SPEECH_LEVEL_DB - speech_db) / 20)
    return np.asarray(mixed * min(1.0, 0.98 / np.max(np.abs(mixed))), dtype=np.float32)


def _rms_db(signal: Samples | _Signal) -> float:
    return float(10 * np.log10(np.mean(np.square(signal, dtype=np.float64)) + 1e-20))


# ---- echo -----------------------------------------------------------------------------------------


def room(samples: Samples, seed: int) -> Samples:
    """The samples with a little echo: 80 reflections within 0.4 s that die away exponentially.

    Reverberation time 0.25 to 0.6 s and direct sound 8 to 16 dB above the echo, as fits a microphone near
    the mouth in a hard-walled room (from memory). The length stays; an echo past the end is cut off.
    """
    rng = np.random.default_rng(seed)
    reverberation_s = rng.uniform(0.25, 0.6)
    delays_s = np.sort(rng.uniform(0.004, 0.4, 80))
    # A reverberation time is the time in which the echo falls by 60 dB, a factor of 1000 in amplitude.
    gains = rng.choice([-1.0, 1.0], 80) * rng.uniform(0.3, 1.0, 80) * 1000 ** (-delays_s / reverberation_s)
    gains *= 10 ** (-rng.uniform(8, 16) / 20) / np.linalg.norm(gains)
    response = np.zeros(int(0.4 * SAMPLE_RATE_HZ) + 1)
    response[0] = 1
    np.add.at(response, (delays_s * SAMPLE_RATE_HZ).astype(int), gains)
    return np.asarray(fftconvolve(samples, response)[: len(samples)], dtype=np.float32)


# ---- noise ----------------------------------------------------------------------------------------


def shed_noise(duration_s: float, seed: int, has_yard: bool = False) -> Samples:
    """Noise of a milking shed at work, shape (samples,), at 16 kHz, -26 dB re full scale over its length.

    The seed chooses the shed (pitch, rates, how loud each source is) and what happens in it:

    - vacuum-pump hum: 49 to 51 Hz, the mains of most of the world, and eleven harmonics;
    - machine rumble: broadband, falling 6 dB an octave above 200 Hz;
    - pulsators: hiss at 0.97 to 1.03 Hz, since pulsators commonly run at 60 cycles a minute;
    - metal clanks: rails, gates and chains, about eight a minute;
    - a yard hose: on about a third of the time, for seconds at a stretch;
    - cows: a moo or two a minute, pitch 80 to 175 Hz;
    - a radio talking in another room: noise with the spectrum and the syllable rate of speech.

    With `has_yard` the same shed has besides

    - dogs in the yard: one to four barks at a time, about two such bursts a minute;
    - a radio that plays music: a tune, a beat of 80 to 140 a minute, through a small loudspeaker.

    Hum, rumble, pulsators and both radios drift by a few dB. Rates and levels are from memory, as the head of this
    module says.
    """
    rng = np.random.default_rng(seed)
    samples = round(duration_s * SAMPLE_RATE_HZ)
    sources_db = [
        (_hum(samples, rng), rng.uniform(-6, 0)),
        (_rumble(samples, rng), rng.uniform(-3, 3)),
        (_pulsators(samples, rng), rng.uniform(-10, -2)),
        (_radio(samples, rng), rng.uniform(-22, -12)),
    ]
    events_db = [
        (_clanks(samples, rng), rng.uniform(-4, 8)),
        (_hose(samples, rng), rng.uniform(-10, 0)),
        (_moos(samples, rng), rng.uniform(-2, 8)),
    ]
    if has_yard:
        # Drawn apart and added last, so that everything else is as it is without.
        yard = np.random.default_rng([seed, 1])
        sources_db.append((_music(samples, yard), yard.uniform(-18, -6)))
        events_db.append((_dogs(samples, yard), yard.uniform(-4, 6)))
    noise = np.zeros(samples)
    for source, level_db in sources_db:
        noise += source * 10 ** ((level_db - _rms_db(source)) / 20) * _drift(samples, rng)
    for event, level_db in events_db:
        noise += event * 10 ** (level_db / 20)
    return np.asarray(noise * 10 ** ((_SPEECH_LEVEL_DB - _rms_db(noise)) / 20), dtype=np.float32)


def _drift(samples: int, rng: np.random.Generator, spread_db: float = 2.0, step_s: float = 4.0) -> _Signal:
    """A gain that wanders by `spread_db` (standard deviation), with a new goal every `step_s`."""
    step = int(step_s * SAMPLE_RATE_HZ)
    goals_db = rng.normal(0, spread_db, samples // step + 2)
    return np.asarray(10 ** (np.interp(np.arange(samples), np.arange(len(goals_db)) * step, goals_db) / 20))


def _band(signal: _Signal, low_hz: float, high_hz: float, order: int = 1) -> _Signal:
    sos = butter(order, [low_hz, high_hz], "bandpass", fs=SAMPLE_RATE_HZ, output="sos")
    return np.asarray(sosfilt(sos, signal))


def _hum(samples: int, rng: np.random.Generator) -> _Signal:
    pitch_hz = rng.uniform(49.2, 50.8) + 0.1 * np.log10(_drift(samples, rng))
    phase = 2 * np.pi * np.cumsum(pitch_hz) / SAMPLE_RATE_HZ
    hum = np.sin(phase)
    for harmonic in range(2, 13):
        hum += rng.uniform(0.2, 1.0) / harmonic * np.sin(harmonic * phase + rng.uniform(0, 2 * np.pi))
    return np.asarray(hum)


def _rumble(samples: int, rng: np.random.Generator) -> _Signal:
    rumble = _band(rng.normal(size=samples), 60, 200)
    return rumble + 0.15 * _band(rng.normal(size=samples), 300, 2000)


def _pulsators(samples: int, rng: np.random.Generator) -> _Signal:
    """Air let in by the pulsators: one near by, a burst each cycle, and five farther off."""
    time_s = np.arange(samples) / SAMPLE_RATE_HZ
    rate_hz = rng.uniform(0.97, 1.03)
    gain = np.full(samples, 0.15)
    for nearness in (1.0, *rng.uniform(0.05, 0.25, 5)):
        cycle = (time_s * rate_hz + rng.uniform()) % 1
        # Air rushes in at once and dies away; at 0.6 of the cycle the valve closes with a shorter puff.
        gain += nearness * (np.exp(-cycle / 0.12) + 0.4 * (cycle > 0.6) * np.exp(-(cycle - 0.6) / 0.05))
    return gain * _band(rng.normal(size=samples), 1500, 6000)


def _onsets(samples: int, per_minute: float, rng: np.random.Generator) -> NDArray[np.int64]:
    """Random times, in samples, at a mean rate. The first few seconds before zero count too."""
    lead = 3 * SAMPLE_RATE_HZ
    count = rng.poisson(per_minute * (samples + lead) / (60 * SAMPLE_RATE_HZ))
    return np.asarray(np.sort(rng.integers(-lead, samples, count)))


def _place(track: _Signal, sound: _Signal, onset: int) -> None:
    """Add `sound` to `track` from `onset` on, which may lie before its start."""
    start, end = max(onset, 0), min(onset + len(sound), len(track))
    if end > start:
        track[start:end] += sound[start - onset : end - onset]


def _clanks(samples: int, rng: np.random.Generator) -> _Signal:
    """Struck metal: six ringing modes at unrelated pitches, each dying away in its own time."""
    clanks = np.zeros(samples)
    time_s = np.arange(int(0.6 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    for onset in _onsets(samples, rng.uniform(4, 12), rng):
        modes_hz = rng.uniform(500, 5500, 6)
        decays_s = rng.uniform(0.02, 0.15, 6)
        ringing = np.sin(2 * np.pi * np.outer(modes_hz, time_s)) * np.exp(-time_s / decays_s[:, None])
        _place(clanks, rng.uniform(0.2, 1.5) * rng.uniform(0.3, 1, 6) @ ringing, int(onset))
    return clanks


def _hose(samples: int, rng: np.random.Generator) -> _Signal:
    """Water on concrete: hiss that flutters, turned on and off."""
    water = np.zeros(samples)
    for onset in _onsets(samples, 3.0, rng):
        length = int(rng.uniform(3, 11) * SAMPLE_RATE_HZ)
        flutter = _drift(length, rng, spread_db=3, step_s=0.1)
        edges = np.minimum(1, np.minimum(np.arange(length), np.arange(length)[::-1]) / (0.3 * SAMPLE_RATE_HZ))
        _place(water, 4 * edges * flutter * _band(rng.normal(size=length), 600, 7000), int(onset))
    return np.asarray(water / 4)


def _moos(samples: int, rng: np.random.Generator) -> _Signal:
    """A source and a filter: a buzz that rises and falls, through three formants of a long vocal tract."""
    moos = np.zeros(samples)
    for onset in _onsets(samples, 1.5, rng):
        length = int(rng.uniform(0.9, 2.2) * SAMPLE_RATE_HZ)
        course = np.linspace(0, 1, length)
        pitch_hz = rng.uniform(80, 140) * (1 + 0.25 * np.sin(np.pi * course))
        cycle = np.cumsum(pitch_hz) / SAMPLE_RATE_HZ % 1
        buzz = (cycle - 0.5) + 0.1 * rng.normal(size=length)
        voice = sum(
            gain * _band(buzz, centre_hz * 0.85, centre_hz * 1.15)
            for centre_hz, gain in zip(rng.uniform(0.9, 1.1) * np.array([280, 750, 1700]), (1, 0.7, 0.3), strict=True)
        )
        _place(moos, rng.uniform(3, 8) * np.sin(np.pi * course) ** 0.7 * voice, int(onset))
    return moos


def _dogs(samples: int, rng: np.random.Generator) -> _Signal:
    """A rough buzz through one resonance, that starts at once and falls in pitch, again and again."""
    dogs = np.zeros(samples)
    for onset in _onsets(samples, 2.0, rng):
        pitch_hz, resonance_hz = rng.uniform(250, 700), rng.uniform(700, 1600)
        for _ in range(rng.integers(1, 5)):
            length = int(rng.uniform(0.1, 0.25) * SAMPLE_RATE_HZ)
            course = np.linspace(0, 1, length)
            cycle = np.cumsum(pitch_hz * (1.2 - 0.5 * course)) / SAMPLE_RATE_HZ % 1
            buzz = _band(cycle - 0.5 + 0.3 * rng.normal(size=length), resonance_hz * 0.7, resonance_hz * 1.4)
            _place(dogs, 5 * np.minimum(1, course / 0.1) * np.exp(-3 * course) * buzz, int(onset))
            onset += length + int(rng.uniform(0.15, 0.5) * SAMPLE_RATE_HZ)
    return dogs


def _music(samples: int, rng: np.random.Generator) -> _Signal:
    """Notes of a pentatonic scale on every half beat, a drum on every beat."""
    music = np.zeros(samples)
    half = int(30 * SAMPLE_RATE_HZ / rng.uniform(80, 140))
    time_s = np.arange(4 * half) / SAMPLE_RATE_HZ
    fading, drum = np.exp(-time_s / 0.3), np.exp(-time_s / 0.04)
    root_hz = rng.uniform(180, 330)
    for number, onset in enumerate(range(-2 * half, samples, half)):
        pitch_hz = root_hz * 2 ** (rng.choice([0, 2, 4, 7, 9, 12, 14, 16]) / 12)
        note = sum(np.sin(2 * np.pi * pitch_hz * h * time_s) / h for h in range(1, 5))
        _place(music, rng.uniform(0.3, 1.0) * fading * note, onset)
        if number % 2 == 0:
            _place(music, drum * rng.normal(size=len(time_s)), onset)
    return _band(music, 200, 4000)


def _radio(samples: int, rng: np.random.Generator) -> _Signal:
    """Talk without words: noise of a speech-like spectrum, four syllables a second, with pauses."""
    voice = _band(_band(rng.normal(size=samples), 250, 700), 200, 3400)
    syllable = int(SAMPLE_RATE_HZ / 4)
    strengths = rng.uniform(0, 1, samples // syllable + 2) * (rng.uniform(size=samples // syllable + 2) > 0.2)
    return np.asarray(voice * np.interp(np.arange(samples), np.arange(len(strengths)) * syllable, strengths))
