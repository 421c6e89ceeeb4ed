"""The window while its disk fails, stalls, fills up or goes away: it plays on or says why not, and nothing is lost.

usage: failing_window.py WINDOW FOLDER_FOR_PICTURES
"""

import contextlib
import json
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import time

import numpy

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "EndToEnd"))
from desk_session import DeskSession, wait_for  # noqa: E402
from faults import READS, contents, make_recording  # noqa: E402


@contextlib.contextmanager
def tampered(desk, calls, what, paths=()):
    """Within the block these calls of the running window come to grief: `what` is strace's word on it ("error=EIO")."""
    command = ["strace", "-f", "-qq", "-o", str(desk.folder / "calls.log"), "-p", str(desk.window_process.pid), "-e", f"trace={calls}",
               "-e", f"inject={calls}:{what}"]
    for path in paths:
        command += ["-P", str(path)]
    tracer = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    traced = lambda: f"TracerPid:\t{tracer.pid}" in pathlib.Path(f"/proc/{desk.window_process.pid}/status").read_text()
    wait_for(traced, 20, "strace to take hold of the window")
    try:
        yield
    finally:
        tracer.send_signal(signal.SIGINT)
        tracer.wait(20)


@contextlib.contextmanager
def small_disk(folder, size):
    """A file system of its own with that much room ("64k"), where that may be made; else None."""
    folder.mkdir()
    made = os.geteuid() == 0 and subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=False,
                                                stderr=subprocess.DEVNULL).returncode == 0
    try:
        yield folder if made else None
    finally:
        if made:
            subprocess.run(["umount", "-l", folder], check=False, stderr=subprocess.DEVNULL)


def failing_disk(desk, files):
    """It stops with a word; once the disk is back it plays."""
    with tampered(desk, READS, "error=EIO", files):
        wait_notice(desk, "input/output error")
        desk.wait_told(lambda told: not told["playing"], 10, "an end of playing")
    desk.key("space")
    desk.wait_told(lambda told: told["playing"], 10, "playing, with the disk back")
    assert loudest(desk) > 1e-3


def stalling_disk(desk, files):
    """The sound fades out with a word, the window goes on answering, the sound comes back."""
    with tampered(desk, READS, "delay_enter=5000000", files):
        begin = time.monotonic()
        longest = 0.0
        while "too slow" not in desk.told()["notice"]:
            asked = time.monotonic()
            desk.told()
            longest = max(longest, time.monotonic() - asked)
            assert asked < begin + 30, "no word on a stalling disk"
        assert longest < 0.5, f"the window does not answer for {longest:.1f} s"
        assert loudest(desk) < 1e-3
    wait_for(lambda: loudest(desk) > 1e-3, 20, "the sound, with the disk back")


def full_disk(desk, session, room):
    """What cannot be saved is said, the old session stays, and with room again it is saved."""
    filler = room / "filler"
    with contextlib.suppress(OSError), open(filler, "wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    before = session.read_bytes()
    desk.key("Home", "f", "ctrl+s")
    wait_notice(desk, "no space left on device")
    wait_for(lambda: "not saved" in desk.title(), 5, "the mark of what is not saved")
    left = {path.name for path in room.iterdir()}
    assert session.read_bytes() == before and left == {session.name, filler.name}, left
    filler.unlink()
    desk.key("ctrl+s")
    wait_for(lambda: "not saved" not in desk.title(), 10, "the session to be saved")
    assert session.read_bytes() != before


def absent_folder(desk, recording, session):
    """As when a stick is pulled: what lies in memory can still be saved, and what is played goes on or says why not."""
    away = recording.with_name("away")
    recording.rename(away)
    saved = session.read_bytes()
    desk.key("f", "ctrl+s")
    wait_for(lambda: session.read_bytes() != saved, 10, "the session to be saved")
    assert json.loads(session.read_text())["recording"]["absoluteFolder"] == str(recording)
    told = desk.told()
    assert told["playing"] or told["notice"], "it fell silent without a word"
    away.rename(recording)


def main(window, pictures):
    with contextlib.ExitStack() as stack:
        home = pathlib.Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="spillwright-failing-"))).resolve()
        room = stack.enter_context(small_disk(home / "room", "256k"))
        recording = make_recording(home / "band", seconds=60.0)
        before = contents(recording)
        files = sorted(recording.iterdir())
        session = (room or home) / "evening.spillwright"
        session.write_text(json.dumps({"format": "spillwright/session", "version": 1, "setting": {"tracks": []},
                                       "recording": {"absoluteFolder": str(recording)}}))
        desk = stack.enter_context(DeskSession(window, [recording], artefacts=pictures))
        desk.wait_settled(120)
        desk.drop([session])  # which lies elsewhere: its folder is known by now
        wait_for(lambda: desk.title().startswith("evening"), 20, "the session")
        desk.wait_settled(120)
        desk.key("space")
        desk.wait_told(lambda told: told["playing"], 10, "playing")
        failing_disk(desk, files)
        stalling_disk(desk, files)
        if room:
            full_disk(desk, session, room)
        else:
            print("no file system may be mounted here: a full one was not tried")
        absent_folder(desk, recording, session)
        assert desk.alive() and contents(recording) == before


def wait_notice(desk, words):
    return desk.wait_told(lambda told: words in (told["notice"] or "").lower(), 20, f"a word on '{words}'")["notice"]


def loudest(desk):
    with desk.recorded(1) as recorded:
        pass
    return numpy.abs(recorded.samples).max()


main(sys.argv[1], sys.argv[2])
