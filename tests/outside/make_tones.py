#!/usr/bin/env python3
"""Makes the recordings of fixtures/nothing: tones of a telephone line in which nobody pulses a dial.

    python3 make_tones.py [libspandsp.so.2]     needs that library (Debian: libspandsp2); writes *.wav there

The tones come from libspandsp's own generators, so that no code of this project shapes them.
"""
import ctypes
import pathlib
import sys
import wave

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "nothing"
RATE_HZ = 8_000  # the library's only rate
STATE_BYTES = 65_536  # far more than any of its states

# file, (Hz, dBm0) twice, on and off times in ms twice, seconds: the North American precise tone plan
TONES = [
    ("dial-tone-350-440Hz", (350, -13), (440, -13), (1, 0, 0, 0), 4.0),
    ("ringback-440-480Hz", (440, -19), (480, -19), (2000, 4000, 0, 0), 6.0),
    ("busy-480-620Hz", (480, -24), (620, -24), (500, 500, 0, 0), 5.0),
    ("congestion-480-620Hz", (480, -24), (620, -24), (250, 250, 0, 0), 4.0),
    ("tone-bursts-425Hz-62-38ms", (425, -10), (0, 0), (62, 38, 0, 0), 4.0),
]
# file, keys, ms sounding, ms silent. The last sounds and rests as a dial breaks and makes.
KEYS = [
    ("keypad-all-16-keys-50-50ms", b"1234567890*#ABCD", 50, 50),
    ("keypad-all-16-keys-100-100ms", b"1234567890*#ABCD", 100, 100),
    ("keypad-ten-zeros-62-38ms", b"0000000000", 62, 38),
]


def write_wav(name, samples):
    with wave.open(str(FOLDER / f"{name}.wav"), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(bytes(samples))


def tone(lib, first, second, times_ms, seconds):
    descriptor, state = (ctypes.create_string_buffer(STATE_BYTES) for _ in range(2))
    count = int(seconds * RATE_HZ)
    samples = (ctypes.c_int16 * count)()
    lib.tone_gen_descriptor_init(descriptor, *first, *second, *times_ms, 1)
    lib.tone_gen_init(state, descriptor)
    made = lib.tone_gen(state, samples, count)
    if made != count:
        sys.exit(f"the generator made {made} of {count} samples")
    return samples


def keys(lib, digits, on_ms, off_ms):
    state = ctypes.create_string_buffer(STATE_BYTES)
    lib.dtmf_tx_init(state, None, None)
    lib.dtmf_tx_set_timing(state, on_ms, off_ms)
    left = lib.dtmf_tx_put(state, digits, len(digits))
    silence = RATE_HZ // 2
    count = len(digits) * (on_ms + off_ms) * RATE_HZ // 1000
    samples = (ctypes.c_int16 * (count + 2 * silence))()
    made = lib.dtmf_tx(state, ctypes.byref(samples, 2 * silence), count)
    if left != 0 or made != count:
        sys.exit(f"the generator made {made} of {count} samples, {left} keys left over")
    return samples


def main():
    lib = ctypes.CDLL(sys.argv[1] if len(sys.argv) > 1 else "libspandsp.so.2")
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, *spec in TONES:
        write_wav(name, tone(lib, *spec))
    for name, *spec in KEYS:
        write_wav(name, keys(lib, *spec))


if __name__ == "__main__":
    main()
