#!/usr/bin/env python3
"""Gathers recorded sound in which nobody dials, from Debian packages: speech, music, bells, tones.

    tests/outside/fetch_audio.py            needs apt-get and dpkg-deb; installs nothing

Packages are downloaded and unpacked under FINGERSTOP_AUDIO_DIR (target/outside-audio unless set); their
licences stay beside them in usr/share/doc. Headerless speech is given a WAV header.
"""
import os
import pathlib
import subprocess
import sys
import wave

ROOT = pathlib.Path(__file__).resolve().parents[2]
FOLDER = pathlib.Path(os.environ.get("FINGERSTOP_AUDIO_DIR") or ROOT / "target" / "outside-audio").absolute()

# what it holds and its licence, as the package's own copyright file gives it
PACKAGES = {
    "asterisk-core-sounds-en-wav": "speech, one voice, 8 kHz (CC-BY-SA-3.0)",
    "asterisk-core-sounds-es-wav": "speech, one voice, 8 kHz (CC-BY-SA-3.0)",
    "asterisk-core-sounds-fr-wav": "speech, one voice, 8 kHz (CC-BY-SA-3.0)",
    "asterisk-core-sounds-it-wav": "speech, one voice, 8 kHz (CC-BY-SA-3.0)",
    "asterisk-core-sounds-ru-wav": "speech, one voice, 8 kHz (CC-BY-SA-3.0)",
    "asterisk-moh-opsound-wav": "music over a telephone, 8 kHz (CC-BY-SA-3.0)",
    "codec2-examples": "speech, many voices and noises, 8 kHz (LGPL-2.1)",
    "pocketsphinx-testdata": "speech with a direct-current offset, 16 kHz (BSD-2)",
    "linphone-common": "speech and a ringing telephone (GPL-3+)",
    "baresip-core": "call-progress and keypad tones (BSD-3)",
    "sound-theme-freedesktop": "short sounds and tones (GPL-2+, CC-BY-SA-3.0, CC-BY-3.0)",
    "puredata-doc": "voice and bell, 44.1 kHz (BSD-3)",
    "fillets-ng-data": "music, voices and noises (GPL-2)",
    "drascula-music": "music (its own free licence)",
    "hyperrogue-music": "music and noises (CC-BY-SA-3.0, GPL-2+)",
    "wesnoth-1.16-music": "music with drums (GPL-2+, CC-BY-SA-4.0)",
}

# package: (where its headerless files are, sample rate); 16-bit little-endian, one channel
HEADERLESS_HZ = {"codec2-examples": 8_000, "pocketsphinx-testdata": 16_000}


def fetch(package):
    """Downloads and unpacks one package, unless it is there already."""
    home = FOLDER / package
    if home.exists():
        return True
    debs = FOLDER / "packages"
    debs.mkdir(parents=True, exist_ok=True)
    if not list(debs.glob(f"{package}_*.deb")):
        done = subprocess.run(["apt-get", "download", "-qq", package], cwd=debs, stderr=subprocess.DEVNULL)
        if done.returncode != 0:
            print(f"{package}: cannot be downloaded; run apt-get update, or leave it out", file=sys.stderr)
            return False
    deb = next(debs.glob(f"{package}_*.deb"))
    part = home.with_suffix(".part")
    subprocess.run(["dpkg-deb", "-x", str(deb), str(part)], check=True)
    part.rename(home)
    deb.unlink()
    return True


def give_header(package):
    """Writes each headerless file again as WAV, beside it."""
    for raw in (FOLDER / package).rglob("*.raw"):
        with wave.open(str(raw.with_suffix(".raw.wav")), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(HEADERLESS_HZ[package])
            out.writeframes(raw.read_bytes())


def main():
    got = [package for package in PACKAGES if fetch(package)]
    for package in HEADERLESS_HZ:
        if package in got:
            give_header(package)
    if not got:
        sys.exit("no package could be fetched: is this a Debian system with a package mirror?")
    print(f"{len(got)} of {len(PACKAGES)} packages are in {FOLDER}")


if __name__ == "__main__":
    main()
