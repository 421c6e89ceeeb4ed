"""Large recordings: each opens, is measured and plays, or says clearly why not; what that takes, as a table.

usage: sizes.py CLI WINDOW FOLDER [NAME...]    FOLDER: for some 12 GB of files, which go again. NAMEs: only those.
"""

import os
import pathlib
import shutil
import struct
import subprocess
import sys
import tempfile
import time

import numpy

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "EndToEnd"))
from desk_session import DeskSession  # noqa: E402


def write_large(path, seconds, rate, late, seed):
    """24-bit mono, RF64 above 4 GB: a second of noise in every twenty, and holes, which take no room, between."""
    frames = int(seconds * rate)
    size = 3 * frames
    sound = numpy.random.default_rng(1).standard_normal(rate + late) * 0.05
    own = numpy.random.default_rng(seed).standard_normal(rate) * 0.0005
    samples = ((numpy.concatenate([numpy.zeros(late), sound])[:rate] + own) * (1 << 23)).astype("<i4")
    noise = samples.view(numpy.uint8).reshape(-1, 4)[:, :3].tobytes()
    form = b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, rate, 3 * rate, 3, 24)
    with open(path, "wb") as file:
        if size > 0xFFFFFFFF - 100:
            file.write(b"RF64\xff\xff\xff\xffWAVEds64" + struct.pack("<IQQQI", 28, size + 72, size, frames, 0))
            file.write(form + b"data\xff\xff\xff\xff")
        else:
            file.write(b"RIFF" + struct.pack("<I", 36 + size) + b"WAVE" + form + b"data" + struct.pack("<I", size))
        head = file.tell()
        for second in range(0, int(seconds), 20):
            file.seek(head + 3 * rate * second)
            file.write(noise[: 3 * (frames - rate * second)])
        file.truncate(head + size)


def lay_out(folder, tracks, seconds, rate, others=0):
    folder.mkdir()
    for track in range(tracks):
        write_large(folder / f"t{track + 1:03}.wav", seconds, rate, 7 * (track % 40), track + 2)
    for other in range(others):
        (folder / f"note {other}.txt").write_text("no audio\n")
    return folder


# tracks, seconds, rate, other files
RECORDINGS = {
    "24 tracks, 30 s": (24, 30, 48000, 0),
    "200 tracks, 30 s": (200, 30, 48000, 0),
    "8 tracks, 3 hours": (8, 3 * 3600, 48000, 0),
    "24 tracks, 2 min at 192 kHz": (24, 120, 192000, 0),
    "2 tracks, 3 hours at 192 kHz (6 GB each, RF64)": (2, 3 * 3600, 192000, 0),
    "20 tracks among 5000 files": (20, 30, 48000, 4980),
}


def measured(cli, folder):
    """Seconds and MB of one measurement with a fresh process, and its last words."""
    begin = time.monotonic()
    with tempfile.TemporaryFile("w+") as said:
        process = subprocess.Popen([cli, "measure", folder, "--no-cache"], stdout=subprocess.DEVNULL, stderr=said)
        _, status, usage = os.wait4(process.pid, 0)
        said.seek(0)
        words = said.read().strip()[-300:]
    return time.monotonic() - begin, usage.ru_maxrss / 1024, os.waitstatus_to_exitcode(status), words


def played(window, folder):
    """Seconds until it plays after opening, until all is measured, and MB of the window then."""
    with DeskSession(window, []) as desk:
        begin = time.monotonic()
        desk.drop([folder])
        desk.wait_told(lambda told: told["task"] != "opening" and any("cells" in part for part in told["parts"]), 120, "it to open")
        opened = time.monotonic() - begin
        desk.key("space")
        desk.wait_told(lambda told: told["playing"], 60, "playing")
        playing = time.monotonic() - begin
        desk.wait_settled(580)
        settled = time.monotonic() - begin
        status = pathlib.Path(f"/proc/{desk.window_process.pid}/status").read_text()
        megabytes = int(status.split("VmHWM:")[1].split()[0]) / 1024
        return opened, playing, settled, megabytes, desk.told()["notice"]


def main():
    cli, window, top, *names = sys.argv[1:]
    top = pathlib.Path(top)
    top.mkdir(exist_ok=True)
    print("| recording | measured by command, s | MB | window: open, s | plays, s | all measured, s | MB |")
    print("|---|---|---|---|---|---|---|")
    for name, what in RECORDINGS.items():
        if names and name not in names:
            continue
        folder = lay_out(top / "recording", *what)
        try:
            seconds, megabytes, status, words = measured(cli, folder)
            row = [f"{seconds:.1f}", f"{megabytes:.0f}"] if status == 0 else [words, ""]
            opened, playing, settled, held, notice = played(window, folder)
            row += [f"{opened:.1f}", f"{playing:.1f}", f"{settled:.1f}", f"{held:.0f}"]
            print("| " + " | ".join([name, *row]) + " |", words, notice, flush=True)
        finally:
            shutil.rmtree(folder)


if __name__ == "__main__":
    main()
