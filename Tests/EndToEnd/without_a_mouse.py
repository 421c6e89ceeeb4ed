"""Everything from the empty window to rendered files by keyboard alone; what has the keyboard is seen, and Tab goes round in reading order.

usage: without_a_mouse.py WINDOW RECORDING FOLDER_FOR_PICTURES
"""

import pathlib
import sys
import tempfile

import numpy

from desk_session import DeskSession, wait_for

MOST_STOPS = 120
OUTLINE = 3  # pixels beside the edge in which the outline of what has the keyboard stands
LEAST_OF_OUTLINE = 0.5
PANELS = ("Tracks", "Grid of pairs", "Pair", "Versions", "Transport")


def focused(told):
    return next((p for p in told["parts"] if p["focus"]), None)


def name_of(part):
    return part.get("button") or part["title"]


def outline_changed(place, one, other):
    """Share of the outline's pixels that differ between two pictures of the window."""
    x, y, width, height = (round(v) for v in place)
    differ = numpy.abs(one - other).max(axis=2)[y : y + height, x : x + width] > 8
    inner = differ[OUTLINE:-OUTLINE, OUTLINE:-OUTLINE]
    return (differ.sum() - inner.sum()) / (2 * (width + height))


def round_by_tab(desk, what):
    """Tab until it comes back to where it was: every stop is seen and none is met twice. Returns the stops."""
    stops, pictures = [], []
    for _ in range(MOST_STOPS):
        desk.key("Tab")
        part = focused(desk.told())
        assert part, f"{what}: Tab leads nowhere after {[name_of(s) for s in stops]}"
        if stops and part["place"] == stops[0]["place"]:
            break
        stops.append(part)
        pictures.append(desk.picture())
    assert len(stops) < MOST_STOPS and len({tuple(s["place"]) for s in stops}) == len(stops), [name_of(s) for s in stops]
    for k, stop in enumerate(stops):
        share = outline_changed(stop["place"], pictures[k], pictures[k - 1 if len(stops) > 2 else (k + 1) % len(stops)])
        whole_window = stop["place"][2:] == desk.told()["size"][2:]
        assert whole_window or share > LEAST_OF_OUTLINE, f"{what}: it is not seen that '{name_of(stop)}' has the keyboard ({share:.2f})"
    print(f"{what}: " + " > ".join(name_of(stop) for stop in stops))
    return stops


def reading_order(stops):
    """Rows from the top, each from the left."""
    for one, next_one in zip(stops, stops[1:]):
        ahead = next_one["place"][1] >= one["place"][1] + one["place"][3] / 2 or next_one["place"][0] > one["place"][0]
        assert ahead, f"'{name_of(next_one)}' comes after '{name_of(one)}'"


def main(window, recording, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-keys-") as name, DeskSession(window, [], artefacts=pictures) as desk:
        def comes():  # a key that comes before the window is ready is lost
            desk.key("Tab")
            return focused(desk.told())

        wait_for(comes, 5, "the keyboard to come to the window")
        stops = round_by_tab(desk, "empty")
        assert {"Open a folder", "Open the demo"} <= {name_of(s) for s in stops}
        desk.drop([pathlib.Path(recording).resolve()])
        desk.wait_settled(60)
        desk.key("Escape", "Escape")
        desk.wait_told(lambda told: not told["notice"], 5, "the banner to go")

        # Panel by panel, none twice; every button is reached.
        told = desk.told()
        stops = round_by_tab(desk, "opened")
        places = {p["title"].split(":")[0]: p["place"] for p in told["parts"] if p["title"].split(":")[0] in PANELS}

        def panel_of(part):
            x, y, width, height = part["place"]
            inside = [n for n, (px, py, pw, ph) in places.items() if px <= x and py <= y and x + width <= px + pw and y + height <= py + ph]
            return inside[0] if inside else ""

        stops = [s for s in stops if s["place"] != told["size"]]
        panels = [panel_of(s) for s in stops]
        order = [p for k, p in enumerate(panels) if k == 0 or p != panels[k - 1]]
        start = order.index("")
        assert len(order) - len(set(order)) <= (order[0] == order[-1]), order
        assert [p for p in PANELS if p in order] == [p for p in order[start:] + order[:start] if p], order
        for panel in set(panels):
            reading_order([s for s in stops if panel_of(s) == panel])
        reached = {tuple(s["place"]) for s in stops}
        missed = [name_of(p) for p in told["parts"] if "button" in p and p["enabled"] and tuple(p["place"]) not in reached]
        assert not missed, f"Tab does not reach {missed}"
        desk.key("Tab", "Tab", "Tab")
        third = focused(desk.told())
        desk.key("Tab", "shift+Tab")
        assert focused(desk.told())["place"] == third["place"]
        desk.screenshot("keys-1-focus.png")

        # Return presses what has the keyboard; Esc gives it back to the window, whose keys then count.
        while name_of(focused(desk.told())) != "mono":
            desk.key("Tab")
        desk.key("Return")
        desk.wait_told(lambda told: any(name_of(p) == "mono" and p.get("on") for p in told["parts"]), 5, "mono")
        desk.key("Return", "Escape")
        desk.key("Home", "Down", "Down", "Right")
        told = desk.wait_told(lambda told: told["pair"][0] == 2, 5, "the third track to be chosen")

        with desk.seen_to_change("Grid of pairs"):
            desk.key("f")
        flipped = desk.wait_told(lambda told: told["heard"] == 5 and "flip" in told["undo"], 5, "the flip")
        desk.key("ctrl+z")
        desk.wait_told(lambda told: told["heard"] == 1, 5, "the flip to be undone")

        # The menu of everything: to the group "Versions", into it, and up to the last but one from its end: redo.
        desk.key("F10")
        desk.wait_told(lambda told: any(p["title"] == "Versions" for p in told["parts"]) and "Choosing" in str(told["parts"]), 5, "the menu")
        desk.screenshot("keys-2-menu.png")
        desk.key(*["Down"] * 5, "Right", "Up", "Up", "Return")
        desk.wait_told(lambda told: told["undo"] == flipped["undo"], 5, "the menu to do the flip again")

        desk.key("space")
        desk.wait_told(lambda told: told["playing"], 10, "it to play")
        desk.key("p")
        desk.wait_told(lambda told: told["task"] == "proposing", 5, "proposals to be looked for")
        desk.wait_settled(60)
        for key, heard in (("2", 2), ("1", 1), ("5", 5), ("2", 2)):
            desk.key(key)
            assert desk.wait_told(lambda told: told["heard"] == heard, 5, f"version {heard}")["playing"]
        desk.key("space")
        desk.wait_told(lambda told: not told["playing"], 5, "it to stop")

        # Sheets take the keyboard, keep it while they are there, and give it back.
        for key, title, least in (("question", "Keys", 40), ("ctrl+comma", "Settings", 5), ("v", "", 5), ("ctrl+h", "", 1), ("alt+d", "", 1)):
            desk.key(key)
            told = desk.wait_told(lambda told: told["sheet"] and title in told["sheet"], 5, f"the sheet of {key}")
            below = {tuple(p["place"]) for p in told["parts"][: next(k for k, p in enumerate(told["parts"]) if p["title"] == told["sheet"])]}
            desk.key("Tab")
            sheet = told["sheet"]
            part = focused(desk.told())
            assert part and tuple(part["place"]) not in below - {tuple(told["size"])}, f"{sheet}: the keyboard is below it, at {part}"
            if key == "ctrl+comma":
                round_by_tab(desk, sheet)
                desk.screenshot("keys-3-settings.png")
            desk.key("Escape")
            desk.wait_told(lambda told: not told["sheet"], 5, f"the sheet {sheet} to close")
            assert focused(desk.told())["place"] == told["size"], f"after {sheet} the keyboard is at {focused(desk.told())}"

        target = pathlib.Path(name) / "rendered"
        desk.key("ctrl+r")
        desk.wait_told(lambda told: told["sheet"] == "Render", 5, "the sheet")
        desk.type(str(target))
        desk.key("Return")
        desk.wait_told(lambda told: told["notice"].startswith("Rendered"), 60, "the files")
        assert len(list(target.iterdir())) == len(list(pathlib.Path(recording).glob("*.wav")))


if __name__ == "__main__":
    main(*sys.argv[1:4])
