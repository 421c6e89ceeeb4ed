"""What is rendered, as others read it: libsndfile, sha256sum, and the arithmetic of ITU-R BS.1770 in scipy.

usage: hand_over.py CLI RECORDING
"""

import json
import pathlib
import struct
import subprocess
import sys
import tempfile

import numpy
import scipy.signal
import soundfile

RATE = 48000


def broadcast_wave(path, samples, description, reference):
    """A 24-bit BWF file after EBU Tech 3285, version 1."""
    data = b"".join(int(sample).to_bytes(3, "little", signed=True) for sample in samples)
    body = description.encode("ascii").ljust(256, b"\0") + b"Recorder".ljust(32, b"\0") + b"R1".ljust(32, b"\0")
    body += b"2026-05-14" + b"20:31:07" + struct.pack("<QH", reference, 1) + bytes(254) + b"A=PCM,F=48000,W=24,M=mono\r\n"
    form = struct.pack("<HHIIHH", 1, 1, RATE, RATE * 3, 3, 24)
    chunks = b"".join(name + struct.pack("<I", len(content)) + content + bytes(len(content) % 2)
                      for name, content in ((b"bext", body), (b"fmt ", form), (b"data", data)))
    path.write_bytes(b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks)


def loudness(samples):
    """Integrated loudness; filters and gates as in ITU-R BS.1770-4, tables 1 and 2, at 48 kHz (from memory)."""
    shelf = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
    high = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
    for b, a in (shelf, high):
        samples = scipy.signal.lfilter(b, a, samples, axis=0)
    block, step = int(0.4 * RATE), int(0.1 * RATE)
    powers = numpy.array([(samples[start:start + block] ** 2).mean(axis=0).sum()
                          for start in range(0, len(samples) - block + 1, step)])
    lufs = lambda power: -0.691 + 10.0 * numpy.log10(power)
    powers = powers[lufs(powers) > -70.0]
    return lufs(powers[lufs(powers) > lufs(powers.mean()) - 10.0].mean())


def check_render(cli, folder):
    random = numpy.random.default_rng(3)
    source = folder / "source"
    source.mkdir()
    sounds = {}
    description = "Kick, inside; take 3. " * 11  # 242 characters
    for name in ("a", "b"):
        sounds[name] = random.integers(-(1 << 22), 1 << 22, 3 * RATE)
        broadcast_wave(source / f"{name}.wav", sounds[name], description, 123456789)
    setting = folder / "setting.json"
    setting.write_text(json.dumps({"format": "spillwright/setting", "version": 1, "name": "mine",
                                   "tracks": [{"track": "b", "flip": True, "nudge_ms": 1.0}]}))
    to = folder / "to"
    subprocess.run([cli, "render", str(source), "--setting", str(setting), "--to", str(to), "--notes",
                    str(to / "notes.txt")], check=True, stdout=subprocess.DEVNULL)
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", "notes.txt"], cwd=to, check=True)
    assert "# b: flipped, 1 ms later" in (to / "notes.txt").read_text()
    for name, shifted in (("a", sounds["a"]), ("b", -numpy.concatenate([numpy.zeros(48, int), sounds["b"][:-48]]))):
        info = soundfile.info(str(to / f"{name}.wav"))
        assert (info.subtype, info.samplerate, info.channels, info.frames) == ("PCM_24", RATE, 1, 3 * RATE)
        read, _ = soundfile.read(str(to / f"{name}.wav"), dtype="int32")
        assert (read >> 8 == shifted).all()
        told = subprocess.run(["sndfile-info", "--broadcast", str(to / f"{name}.wav")], check=True, stdout=subprocess.PIPE, text=True,
                              errors="replace").stdout
        fields = dict(line.split(":", 1) for line in told.splitlines() if ":" in line)
        fields = {key.strip(): value.strip() for key, value in fields.items()}
        assert fields["Description"] == description.strip(), fields["Description"]
        assert int(fields["Time ref"].split()[0], 16) == 123456789
        assert fields["Origination date"] == "2026-05-14"
        done = "flipped; 1 ms later" if name == "b" else "as recorded"
        assert "A=PCM,F=48000,W=24,M=mono,T=Spillwright: " + done in told, told
    changed = to / "a.wav"
    changed.write_bytes(changed.read_bytes()[:-1] + b"x")
    assert subprocess.run(["sha256sum", "--check", "--strict", "--status", "notes.txt"], cwd=to).returncode == 1


def check_sums(cli, recording, folder):
    flips = folder / "flips.json"
    subprocess.run([cli, "propose", recording, "--allow", "flips", "--save", str(flips)], check=True,
                   stdout=subprocess.DEVNULL)
    to = folder / "sums"
    subprocess.run([cli, "sums", recording, "--setting", str(flips), "--to", str(to)], check=True,
                   stdout=subprocess.DEVNULL)
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", "sums.txt"], cwd=to, check=True)
    notes = (to / "sums.txt").read_text(encoding="utf-8")
    heard = []
    for file in sorted(to.glob("*.wav")):
        info = soundfile.info(str(file))
        assert (info.subtype, info.channels) == ("PCM_24", 2)
        samples, _ = soundfile.read(str(file))
        heard.append(loudness(samples))
        said = notes.split(f"# {file.name}: ")[1].split()
        assert abs(float(said[0]) - heard[-1]) < 0.05, (said, heard)  # two roundings, and gating blocks at the gate
        peak = 20.0 * numpy.log10(abs(scipy.signal.resample_poly(samples, 4, 1, axis=0)).max())
        assert peak < -0.9, peak  # another interpolation than the meter's
        print(f"{file.name}: {heard[-1]:.2f} LUFS, {peak:.2f} dBTP")
    assert len(heard) == 2
    assert max(heard) - min(heard) < 0.05, heard


def main(cli, recording):
    with tempfile.TemporaryDirectory() as name:
        check_render(cli, pathlib.Path(name))
        check_sums(cli, recording, pathlib.Path(name))


if __name__ == "__main__":
    main(*sys.argv[1:3])
