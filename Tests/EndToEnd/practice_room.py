"""A teacher's lesson in the practice room: its steps and answer, a delay that is typed, a microphone that is dragged, heard and measured.

usage: practice_room.py WINDOW RECORDING FOLDER_FOR_PICTURES
"""

import json
import math
import pathlib
import re
import sys
import tempfile
import time

import numpy
from scipy import signal

from desk_session import DeskSession, middle, wait_for

SHEET = "Practice room and lessons"
SPEED = 343.2  # m/s in dry air of 20 degrees: ISO 9613-1
SECONDS = 7  # of sound that is measured: one round of the noise and more
MOST_OFF = 0.02  # of the notch that is heard, as a share: noise of that length, averaged
MOST_MS = 50  # of processor time that a step of the window may take: DEVELOPERS.md
ONE_MS = "Step 4: 1 ms: first notch at 500 Hz"


def page(told):
    return next(p["text"] for p in told["parts"] if p["title"] == "The lesson's page")


def first_notch(sound):
    """Of pink noise through a comb, Hz: the lowest-lying hole of its spectrum, made white."""
    frequencies, power = signal.welch(sound, DeskSession.rate, nperseg=1 << 14)
    use = (frequencies > 40) & (frequencies < 4000)
    frequencies, level = frequencies[use], 10 * numpy.log10(power[use] * frequencies[use])
    # Even to the ear: as many bins as a thirtieth of the frequency holds.
    width = numpy.maximum(1, frequencies / 30 / (frequencies[1] - frequencies[0]) / 2).astype(int)
    smooth = numpy.array([level[max(0, k - w) : k + w + 1].mean() for k, w in enumerate(width)])
    deep = numpy.flatnonzero(smooth < numpy.median(smooth) - 5)
    assert len(deep), f"no notch is heard: {smooth.min() - numpy.median(smooth):.1f} dB"
    hole = deep[: numpy.argmax(numpy.append(numpy.diff(deep) > 3, True)) + 1]  # the first of them
    centre = hole[numpy.argmin(smooth[hole])]
    near = slice(max(0, centre - int(0.12 * centre)), centre + int(0.12 * centre) + 1)
    parabola = numpy.polyfit(frequencies[near], 10 ** (level[near] / 10), 2)  # 2 - 2 cos of the phase, near its bottom
    return -parabola[1] / (2 * parabola[0])


def heard_notch(desk):
    with desk.recorded(SECONDS) as heard:
        pass
    assert numpy.abs(heard.samples).max() > 1e-4, "nothing is heard"
    return first_notch(heard.samples[:, 0])


def shown_notch(desk):
    return float(re.search(r"first notch at ([\d.]+) Hz", desk.part("Comb response of the sum")["said"])[1])


def place_of(desk, name):
    """Metres, as it is read out."""
    return [float(m) for m in re.findall(r"([\d.]+) m ", desk.part(name)["said"])]


def main(window, recording, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-lesson-") as name, DeskSession(window, [recording], artefacts=pictures) as desk:
        wait_for(lambda: "measured" in desk.title(), 60, "the measurement, told by the window's title")
        desk.key("space")
        desk.wait_told(lambda told: told["playing"], 10, "the recording to play")

        # By its key; the recording is silent meanwhile, and the room too until it is asked for.
        desk.key("alt+r")
        told = desk.wait_told(lambda told: told["sheet"] == SHEET, 10, "the practice room")
        assert not told["playing"]
        desk.screenshot("practice-1-opened.png")
        for digit, title in (("2", "Step 2: 0.25 ms"), ("4", "Step 4: 1 ms")):
            with desk.seen_to_change("Comb response of the sum"):
                desk.key(digit)
                desk.wait_told(lambda told: any(p["title"].startswith(title) and p["on"] for p in told["parts"] if "on" in p), 5, title)
        assert shown_notch(desk) == 500.0, shown_notch(desk)  # 1/(2 x 1 ms)
        answer = "odd multiples"
        assert answer not in page(desk.told())
        desk.key("a")
        desk.wait_told(lambda told: answer in page(told), 5, "the answer")
        desk.screenshot("practice-2-answer.png")
        desk.key("a")
        desk.wait_told(lambda told: answer not in page(told), 5, "the answer to be hidden again")

        # A delay is typed; what is heard has its first notch at 1/(2t).
        desk.press("Microphone 2: delay, ms")
        desk.type("2")
        desk.key("Return")
        desk.wait_told(lambda told: any(p.get("button") == "Back" for p in told["parts"]), 5, "a room of one's own")
        desk.key("space")
        desk.wait_told(lambda told: told["playing"], 5, "the room to sound")
        heard = heard_notch(desk)
        print(f"2 ms typed: heard {heard:.1f} Hz, computed 250.0")
        assert abs(heard / 250.0 - 1) < MOST_OFF and shown_notch(desk) == 250.0, (heard, shown_notch(desk))
        desk.key("BackSpace")
        desk.wait_told(lambda told: any(p["title"] == ONE_MS and p["on"] for p in told["parts"] if "on" in p), 5, "the step again")

        # A microphone is dragged away from the source: its way is longer now, and the step's delay stays.
        x, y = middle(desk.part("Microphone 2, later")["place"])
        desk.told()
        desk.steps.clear()
        with desk.seen_to_change("Floor plan"), desk.seen_to_change("Comb response of the sum"):
            desk.drag((x, y), (x + 14, y + 8))
        desk.told()
        slowest = max(step["processor_ms"] for step in desk.steps)
        assert slowest < MOST_MS, slowest
        source, moved, fixed = (place_of(desk, name) for name in ("Source", "Microphone 2, later", "Microphone 1, here"))
        late = 1e-3 + (math.dist(source, moved) - math.dist(source, fixed)) / SPEED
        assert late > 1.3e-3, (source, moved)
        assert abs(shown_notch(desk) * 2 * late - 1) < 0.01, (shown_notch(desk), late)  # places are told to the centimetre
        heard = heard_notch(desk)
        print(f"dragged to {moved}: heard {heard:.1f} Hz, shown {shown_notch(desk):.1f}, computed {0.5 / late:.1f}")
        assert abs(heard / shown_notch(desk) - 1) < MOST_OFF, (heard, shown_notch(desk))
        desk.screenshot("practice-3-dragged.png")

        # What you see and the keys are read over it.
        for key, title in (("F1", "What you see"), ("question", "Keys of the practice room")):
            desk.key(key)
            desk.wait_told(lambda told: any(p["title"] == title for p in told["parts"]), 5, title)
            desk.screenshot(f"practice-4-{key}.png")
            desk.key("Escape")
            desk.wait_told(lambda told: all(p["title"] != title for p in told["parts"]), 5, "it to close")
        assert desk.told()["sheet"] == SHEET

        # For the class: black on white, larger. Playing goes on.
        desk.key("p")
        desk.wait_told(lambda told: any(p.get("button") == "Projector view" and p["on"] for p in told["parts"]), 5, "the projector view")
        wait_for(lambda: (desk.picture() == 255).all(axis=2).mean() > 0.5, 5, "a white ground")
        desk.screenshot("practice-5-projector.png")
        assert desk.told()["playing"]
        desk.key("p")
        desk.wait_told(lambda told: any(p.get("button") == "Projector view" and not p["on"] for p in told["parts"]), 5, "the usual view")

        # A lesson of one's own is dropped onto it; one that is broken changes nothing.
        mine = pathlib.Path(name) / "mine.json"
        lesson = {"format": "spillwright/lesson", "version": 1, "title": "Mine", "listenFor": "This is mine.",
                  "room": {"microphones": [{"name": "only", "position_m": [2, 2, 1]}]}}
        mine.write_text(json.dumps(lesson))
        desk.drop([mine])
        desk.wait_told(lambda told: "This is mine." in page(told), 5, "the lesson that was dropped")
        mine.write_text(json.dumps(dict(lesson, listenFor="Never seen.", title=7)))
        with desk.seen_to_change(SHEET):
            desk.drop([mine])
        assert "This is mine." in page(desk.told())
        desk.screenshot("practice-6-own.png")

        # Back to the recording, which goes on.
        desk.key("Escape")
        told = desk.wait_told(lambda told: told["sheet"] == "", 5, "the sheet to close")
        assert told["playing"], "the recording has stopped"
        time.sleep(0.5)  # past the fade
        with desk.recorded(1) as heard:
            pass
        assert numpy.abs(heard.samples).max() > 1e-3, "the recording is not heard"


if __name__ == "__main__":
    main(*sys.argv[1:4])
