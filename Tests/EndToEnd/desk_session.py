"""A desk of one's own for a test: virtual display, window manager, audio server with a dummy driver, and the real window.

Everything is started for the test and ended with it. Needs Xvfb, openbox, xdotool, python3-xlib, ImageMagick's import, jackd2.
"""

import contextlib
import json
import os
import pathlib
import shutil
import signal
import subprocess
import tempfile
import time

import numpy
from scipy.io import wavfile
from Xlib import X, display

from xdnd import Drop

audio_server = str(pathlib.Path(__file__).resolve().parents[1] / "Support" / "audio_server.sh")
OUTPUT_LEVEL_DB = -18.0  # playback starts there


def difference_db(heard, expected):
    """Power of what differs against the power of what is expected, dB."""
    return 10 * numpy.log10(numpy.sum((heard - expected) ** 2) / numpy.sum(expected**2) + 1e-30)


def need(*programs):
    missing = [p for p in programs if shutil.which(p) is None]
    if missing:
        raise SystemExit("missing programs: " + " ".join(missing) + "; bash cmake/check.sh installs them")


def wait_for(condition, seconds, what):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        result = condition()
        if result:
            return result
        time.sleep(0.1)
    raise AssertionError(f"waited {seconds} s for {what}")


def middle(place):
    x, y, width, height = place
    return x + width / 2, y + height / 2


class DeskSession:
    """with DeskSession(window_program, arguments) as desk: desk.key("space") ..."""

    rate = 48000

    def __init__(self, program, arguments, size="1280x800", artefacts=None):
        need("Xvfb", "openbox", "xdotool", "import", "jackd", "jack_lsp", "jack_rec")
        self.program, self.arguments, self.size = str(program), [str(a) for a in arguments], size
        self.artefacts = pathlib.Path(artefacts) if artefacts else None
        self.stack = contextlib.ExitStack()
        self.steps = []

    def __enter__(self):
        try:
            return self._start()
        except BaseException:
            self.stack.close()
            raise

    def __exit__(self, *_):
        self.stack.close()

    def _spawn(self, command, **options):
        log = open(self.folder / (pathlib.Path(command[0]).name + ".log"), "w+b")
        self.stack.callback(log.close)
        process = subprocess.Popen(command, env=self.env, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                                   start_new_session=True, **options)

        def end():
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGTERM)
                try:
                    process.wait(5)
                except subprocess.TimeoutExpired:
                    os.killpg(process.pid, signal.SIGKILL)
                    process.wait()

        self.stack.callback(end)
        return process

    def _spawn_and_ask(self, command):
        """Starts command(pipe), a server that tells on that file descriptor how it is reached: its first line."""
        read_end, write_end = os.pipe()
        self._spawn(command(write_end), pass_fds=[write_end])
        os.close(write_end)
        with os.fdopen(read_end) as pipe:
            answer = pipe.readline().strip()
        assert answer, "a server did not start: " + command(write_end)[0]
        return answer

    def _start(self):
        self.folder = pathlib.Path(self.stack.enter_context(tempfile.TemporaryDirectory(prefix="spillwright-desk-")))
        self.env = dict(os.environ, HOME=str(self.folder), XDG_CACHE_HOME=str(self.folder / "cache"))
        self.env.pop("WAYLAND_DISPLAY", None)

        self.env["DISPLAY"] = ":" + self._spawn_and_ask(  # the server picks a free display by itself
            lambda pipe: ["Xvfb", "-displayfd", str(pipe), "-screen", "0", self.size + "x24", "-nolisten", "tcp"])
        self._spawn(["openbox"])
        self.x = display.Display(self.env["DISPLAY"])
        self.stack.callback(self.x.close)
        self.env["JACK_DEFAULT_SERVER"] = self._spawn_and_ask(
            lambda pipe: ["bash", "-c", f'"$0" 1024 >&{pipe}', audio_server])
        wait_for(lambda: "system:playback_1" in self.run("jack_lsp"), 60, "the audio server")
        self.start_window(self.arguments)
        return self

    @property
    def settings(self):
        return self.folder / "settings"

    @property
    def trace(self):
        return self.folder / "trace"

    def _windows(self):
        return self.run("xdotool", "search", "--onlyvisible", "--all", "--pid", str(self.window_process.pid), "--name",
                        "Spillwright").split()

    def start_window(self, arguments):
        """One more, which is meant from now on."""
        self.window_process = self._spawn([self.program, "--settings-dir", self.settings, "--trace", self.trace, *arguments])
        self.window = wait_for(self._windows, 60, "the window")[-1]
        self.run("xdotool", "windowactivate", "--sync", self.window)

    def kill_window(self):
        """As a crash would end it: at once, with no word."""
        os.killpg(self.window_process.pid, signal.SIGKILL)
        self.window_process.wait()
        wait_for(lambda: not self._windows(), 60, "the window to go")

    def close_window(self):
        """As its close button does: the window manager's key asks it to."""
        self.key("alt+F4")
        self.window_process.wait(60)

    def run(self, *command):
        """Standard output of a short command; empty where it fails."""
        result = subprocess.run(command, env=self.env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                stderr=subprocess.DEVNULL, text=True, timeout=60, check=False)
        return result.stdout

    def title(self):
        return self.run("xdotool", "getwindowname", self.window).strip()

    def key(self, *keys):
        self.run("xdotool", "windowfocus", "--sync", self.window, "key", "--clearmodifiers", *keys)  # as a keyboard would

    def type(self, text):
        self.run("xdotool", "windowfocus", "--sync", self.window, "type", "--clearmodifiers", "--delay", "5", text)

    def move(self, x, y):
        self.run("xdotool", "mousemove", "--window", self.window, str(round(x)), str(round(y)))  # within the window

    def click(self, x, y):
        self.run("xdotool", "mousemove", "--window", self.window, str(round(x)), str(round(y)), "click", "1")

    def drag(self, start, end, steps=200):
        """Pressed at one place, moved in so many steps at once, as a fast mouse tells them, and let go at the other."""
        moves = []
        for k in range(1, steps + 1):
            moves += ["mousemove", "--window", self.window, *(str(round(a + (b - a) * k / steps)) for a, b in zip(start, end))]
        self.move(*start)
        self.run("xdotool", "mousedown", "1", *moves, "mouseup", "1")

    def drop(self, paths):
        """Files from a file manager, let go over the middle of the window."""
        width, height = self.told()["size"][2:]
        with contextlib.closing(Drop(self.env["DISPLAY"])) as source:
            assert source.files(int(self.window), paths, *self._on_screen(width / 2, height / 2)), f"{paths} were not taken"

    # ---- what the window says of itself

    def told(self):
        """Where everything is now, what has the keyboard, what the banner says: Source/Desk/Trace.h."""
        ask, answer = self.trace / "ask", self.trace / "answer.json"
        answer.unlink(missing_ok=True)
        ask.touch()
        deadline = time.monotonic() + 20
        while ask.exists():
            assert self.alive(), "the window has ended: " + (self.folder / (pathlib.Path(self.program).name + ".log")).read_text()
            assert time.monotonic() < deadline, "the window does not answer"
            time.sleep(0.01)
        told = json.loads(answer.read_text())
        self.steps += told["steps"]  # each answer has those since the one before
        return told

    def wait_told(self, condition, seconds, what):
        """What the window says once that is so."""
        last = {}

        def come():
            last.update(self.told())
            return condition(last)

        try:
            wait_for(come, seconds, what)
        except AssertionError as late:
            self.screenshot("failed.png")
            raise AssertionError(f"{late}; it says {last.get('notice')!r}, works at {last.get('task')!r}") from None
        return last

    def wait_settled(self, seconds=60):
        return self.wait_told(lambda t: t["settled"], seconds, "all work to end")

    def part(self, name):
        """The part of the window that bears this name, on it or as its title."""
        parts = self.told()["parts"]
        found = [p for p in parts if name in (p["title"], p.get("button"))] or [p for p in parts if p["title"].startswith(name)]
        assert found, f"there is no '{name}' among " + ", ".join(sorted({p.get("button") or p["title"] for p in parts} - {""}))
        return found[-1]  # in front of the others

    def press(self, name, field=None):
        """A click in the middle of it, or of a field of a track."""
        part = self.part(name)
        self.click(*middle(part["fields"][field] if field else part["place"]))

    def choose(self, *path):
        """By mouse from the menu of everything: choose("Versions", "undo")."""
        self.press("Menu")
        for name in path:
            self.wait_told(lambda told: any(p["title"] == name for p in told["parts"]), 10, f"'{name}' in the menu")
            time.sleep(0.4)  # a menu takes no click in its first moments
            self.press(name)

    def cell(self, row, column):
        """The middle of a pair's square in the grid."""
        x, y, width, height = self.part("Grid of pairs")["cell"]
        return x + width * (column + 0.5), y + height * (row - 0.5)

    def alive(self):
        return self.window_process.poll() is None

    def _on_screen(self, x, y):
        """Where a place of the window is on the screen."""
        place = self.x.screen().root.translate_coords(int(self.window), round(x), round(y))
        return place.x, place.y

    def picture(self, place=None):
        """What the screen shows there, (height, width, 3), in pixels of the window; by default all of the window. Black beside the screen."""
        x, y, width, height = (round(v) for v in place or self.told()["size"])
        left, top = self._on_screen(x, y)
        screen = self.x.screen().root.get_geometry()
        x0, y0, x1, y1 = max(left, 0), max(top, 0), min(left + width, screen.width), min(top + height, screen.height)
        image = self.x.screen().root.get_image(x0, y0, x1 - x0, y1 - y0, X.ZPixmap, 0xFFFFFFFF)
        picture = numpy.zeros((height, width, 3), int)
        picture[y0 - top : y1 - top, x0 - left : x1 - left] = numpy.frombuffer(image.data, numpy.uint8).reshape(y1 - y0, x1 - x0, 4)[:, :, :3]
        return picture

    @contextlib.contextmanager
    def seen_to_change(self, name, least=30):
        """What the block does is seen: at least so many pixels of that part of the window become others."""
        place = self.part(name)["place"]
        before = self.picture(place)
        yield
        wait_for(lambda: (numpy.abs(self.picture(place) - before).max(axis=2) > 8).sum() >= least, 5, f"a change of '{name}' to be seen")

    def screenshot(self, name):
        if self.artefacts:
            self.artefacts.mkdir(parents=True, exist_ok=True)
            self.run("import", "-window", "root", str(self.artefacts / name))

    def ports(self):
        """The window's two outputs on the audio server."""
        return sorted(p for p in self.run("jack_lsp").split() if p.lower().startswith("spillwright:out"))[:2]

    @contextlib.contextmanager
    def recorded(self, seconds):
        """Records what the window plays while the block runs, at most so many seconds; afterwards .samples is (n, 2) float64.

        The server waits for whoever is late, so that a second of its time may be longer, but nothing is lost.
        """

        class Recording:
            samples = None

        recording = Recording()
        left, right = wait_for(lambda: self.ports() if len(self.ports()) == 2 else None, 60, "the window's outputs")
        path = self.folder / "heard.wav"
        process = self._spawn(["jack_rec", "-f", path, "-d", str(seconds), "-b", "32",
                               "-B", str(seconds * self.rate), left, right])  # all of it fits between server and disk
        wait_for(lambda: "jackrec:" in self.run("jack_lsp", "-c", left), 60, "the recorder")
        yield recording
        status = process.wait(seconds + 60)
        assert status == 0, f"the recorder ended with {status}: " + (self.folder / "jack_rec.log").read_text()
        rate, samples = wavfile.read(path)
        assert rate == self.rate, rate
        scale = 2.0**31 if samples.dtype == numpy.int32 else 1.0
        recording.samples = samples.astype(numpy.float64) / scale
