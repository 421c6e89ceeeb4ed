#include "Audition/Player.h"
#include "Desk/Preferences.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::desk;

TEST_CASE("playback starts as it usually does, or lower where it was lower last time; never louder, never unheard") {
    const test::TemporaryFolder folder;
    Preferences preferences(juce::File(folder.path().string()));
    CHECK(preferences.startLevel() == Player::startLevel);
    preferences.setOutputLevel(Decibels(-3.0));
    CHECK(preferences.startLevel() == Player::startLevel);
    preferences.setOutputLevel(Decibels(-31.5));
    CHECK(preferences.startLevel() == Decibels(-31.5));
    preferences.setOutputLevel(Decibels(-95.0));
    CHECK(preferences.startLevel() == Decibels(-60.0));
}

TEST_CASE("what is chosen of device, band, temperature and units is there again") {
    const test::TemporaryFolder folder;
    const juce::File file(folder.path().string());
    const DeviceChoice choice{"ALSA", "some card", 96000.0, 64};
    {
        Preferences preferences(file);
        CHECK(preferences.deviceChoice() == DeviceChoice{});
        CHECK(preferences.band() == lowMidBand);
        CHECK(preferences.units() == Units{});
        preferences.setDeviceChoice(choice);
        preferences.setUnits({NudgeUnit::samples, DistanceUnit::inches});
        preferences.setReading({Hertz(90.0), Hertz(400.0)}, Celsius(4.5));
    }
    const Preferences again(file);
    CHECK(again.deviceChoice() == choice);
    CHECK(again.band() == Band{Hertz(90.0), Hertz(400.0)});
    CHECK(again.temperature() == Celsius(4.5));
    CHECK(again.units() == Units{NudgeUnit::samples, DistanceUnit::inches});
}
