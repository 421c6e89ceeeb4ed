"""The window while its disk fails, stalls, fills up or goes away: it plays on or says why not, and nothing is lost.

usage: failing_window.py WINDOW FOLDER_FOR_PICTURES
"""

import contextlib
import json
import pathlib
import signal
import subprocess
import sys
import tempfile
import time

import numpy

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "EndToEnd"))
from desk_session import DeskSession, wait_for  # noqa: E402
from faults import READS, WRITES, contents, make_recording  # noqa: E402


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


def main(window, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-failing-") as name:
        home = pathlib.Path(name).resolve()
        recording = make_recording(home / "band", seconds=60.0)
        before = contents(recording)
        files = sorted(recording.iterdir())
        with DeskSession(window, [recording], artefacts=pictures) as desk:
            desk.wait_settled(120)
            desk.key("space")
            desk.wait_told(lambda told: told["playing"], 10, "playing")

            # The disk fails under what is played.
            with tampered(desk, READS, "error=EIO", files):
                desk.key("End")
                told = desk.wait_told(lambda t: t["notice"] and "input/output error" in t["notice"].lower(), 20, "a word on the disk")
                print("failing:", told["notice"])
            print("playing after:", desk.told()["playing"])


main(sys.argv[1], sys.argv[2])
