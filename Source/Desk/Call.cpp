#include "Desk/Call.h"

#include "Desk/Preferences.h"

#include <CLI/CLI.hpp>

namespace spillwright::desk {

void addOptions(CLI::App& app, Call& call) {
    app.description("Polarity and offsets of multi-microphone recordings, by ear and by measurement: the window.");
    app.name("spillwright");
    app.set_version_flag("--version", "spillwright " SPILLWRIGHT_VERSION);
    app.add_option("FOLDER|FILE.spillwright", call.opened,
                   "open this folder of tracks that were recorded together, or this session");
    app.add_flag("--demo", call.demo, "open the demo recording");
    app.add_option("--settings-dir", call.settings,
                   "keep settings, what stands close to what, what is not saved, and the demo here")
        ->type_name("FOLDER");
    app.add_option("--scale", call.scale, "size of everything, percent")
        ->type_name("PERCENT")
        ->check(CLI::Range(Preferences::smallestScale, Preferences::largestScale));
    app.add_flag("--dark", call.dark, "the dark twin");
    app.add_option(
           "--screenshot", call.screenshots,
           "write a picture of the window with the best flips heard, then close; a second one is the dark twin; "
           "may be repeated")
        ->type_name("FILE.png")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    app.add_option("--trace", call.trace,
                   "for checks: answer in this folder where everything is, and how long steps take")
        ->type_name("FOLDER");
}

} // namespace spillwright::desk
