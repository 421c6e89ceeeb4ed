// What the window costs with 64 tracks: painting the grid, and all that lies between a flip or a nudge and what is seen
// of it, against the bare filling of as many rectangles. Needs no display.

#include "Bench/ThreadClock.h"
#include "Desk/GridOrder.h"
#include "Desk/MainComponent.h"
#include "Support/TemporaryFolder.h"
#include "Support/TestWav.h"

#include <cstdio>
#include <cstdlib>
#include <string>
#include <thread>

using namespace spillwright;
using namespace spillwright::bench;
using namespace spillwright::desk;

namespace {

constexpr int trackCount = 64, rounds = 25;
constexpr int width = 1280, height = 800;

void writeTracks(const std::filesystem::path& folder) {
    const std::size_t length = 48000 * 12;
    const std::vector<float> sounds[] = {test::noise(length, 1), test::noise(length, 2), test::noise(length, 3)};
    for (int track = 0; track < trackCount; ++track) {
        auto heard = test::delayed(sounds[track % 3], 7 * track, track % 5 ? 0.5f : -0.5f);
        heard = test::mixed(
            heard, test::noise(length, static_cast<unsigned>(100 + track), 0.02f * static_cast<float>(track % 9)));
        test::writeWav(folder / (std::to_string(100 + track) + " microphone.wav"), heard);
    }
}

bool waitUntil(Controller& controller, const std::function<bool()>& condition) {
    for (int i = 0; i < 60000 && !condition(); ++i) {
        controller.poll();
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return condition();
}

juce::Image canvas(float scale) {
    return {juce::Image::RGB, juce::roundToInt(scale * width), juce::roundToInt(scale * height), true,
            juce::SoftwareImageType()};
}

void paint(juce::Component& component, juce::Image& into, float scale) {
    juce::Graphics g(into);
    g.addTransform(juce::AffineTransform::scale(scale));
    component.paintEntireComponent(g, true);
}

void print(const char* what, Times& times, double floor) {
    std::printf("  %-58s %8.2f ms  (90 %%: %6.2f)  %5.1f of the floor\n", what, times.at(0.5) / 1e3,
                times.at(0.9) / 1e3, times.at(0.5) / floor);
}

struct Opened {
    Controller controller{0};
    Player player;
    MainComponent main;
    explicit Opened(Preferences& preferences) : main({controller, player, nullptr, preferences}) {}
};

template <class Work>
Times timesOf(Work&& work) {
    Times times;
    for (int round = 0; round < rounds; ++round)
        times.each.push_back(microseconds([&] { work(round); }));
    return times;
}

} // namespace

int main() {
#if JUCE_LINUX
    setenv("DISPLAY", ":64999", 1); // none: only painting is timed
#endif
    juce::ScopedJuceInitialiser_GUI juce;
    test::TemporaryFolder folder, settings;
    writeTracks(folder.path());

    Preferences preferences{juce::File(settings.path().string())};
    auto start = timesOf([&](int) {
        Opened opened(preferences);
        auto image = canvas(1.0f);
        paint(opened.main, image, 1.0f);
    });
    Opened opened(preferences);
    auto& controller = opened.controller;
    auto* main = &opened.main;
    controller.openFolder(folder.path());
    if (!waitUntil(controller, [&] { return main->settled() && !controller.readingLoudness(); })) return 1;
    controller.propose();
    if (!waitUntil(controller, [&] { return !controller.busy(); })) return 1;

    auto& grid = main->gridView();
    for (float scale : {1.0f, 2.0f}) {
        auto image = canvas(scale);
        auto floorTimes = timesOf([&](int) {
            juce::Graphics g(image);
            g.addTransform(juce::AffineTransform::scale(scale));
            const float step = grid.cellSize();
            for (int row = 0; row < trackCount; ++row)
                for (int column = 0; column < row; ++column) {
                    g.setColour(juce::Colour(0xff1f5fa8).withBrightness(static_cast<float>(column) / trackCount));
                    g.fillRect(juce::Rectangle<float>(14.0f + step * static_cast<float>(column),
                                                      step * static_cast<float>(row), step - 1.0f, step - 1.0f));
                }
        });
        const double floor = floorTimes.at(0.5);
        std::printf("%d tracks, %d pairs, at %.0fx%.0f\n", trackCount, trackCount * (trackCount - 1) / 2,
                    static_cast<double>(scale * width), static_cast<double>(scale * height));
        print("floor: as many rectangles filled", floorTimes, floor);
        auto gridTimes = timesOf([&](int) {
            grid.changed(Controller::settingChanged);
            paint(grid, image, scale);
        });
        print("grid painted anew", gridTimes, floor);
        for (int i = 0; i < 3; ++i)
            grid.zoom(1);
        auto zoomedTimes = timesOf([&](int) {
            grid.changed(Controller::settingChanged);
            paint(grid, image, scale);
        });
        print("grid painted anew, zoomed in", zoomedTimes, floor);
        for (int i = 0; i < 6; ++i)
            grid.zoom(-1);
        auto pairTimes = timesOf([&](int) {
            main->pairPanel().changed(Controller::settingChanged);
            paint(main->pairPanel(), image, scale);
        });
        print("plots of the pair read and painted anew", pairTimes, floor);
        auto trackTimes = timesOf([&](int) {
            main->trackPanel().changed(Controller::settingChanged);
            paint(main->trackPanel(), image, scale);
        });
        print("rows painted anew", trackTimes, floor);
        auto known = timesOf([&](int round) { controller.flip(round % trackCount); });
        print("a flip until the panels know of it", known, floor);
        auto flip = timesOf([&](int round) {
            controller.flip(round % trackCount);
            paint(*main, image, scale);
        });
        print("a flip until the whole window is painted", flip, floor);
        auto nudge = timesOf([&](int round) {
            controller.setNudge(controller.selectedTrack(), milliseconds(0.05 * round), true);
            paint(*main, image, scale);
        });
        controller.endGesture();
        print("a step of a nudge that is dragged, the same", nudge, floor);
        std::printf("  that is %.0f frames a second\n", 1e6 / nudge.at(0.5));
    }
    auto order = timesOf([&](int) { tracksIn(GridOrder::likeness, controller); });
    std::printf("order by likeness: %.2f ms; window without a recording, made and painted: %.1f ms\n",
                order.at(0.5) / 1e3, start.at(0.5) / 1e3);
    return 0;
}
