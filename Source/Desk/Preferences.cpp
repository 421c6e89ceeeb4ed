#include "Desk/Preferences.h"

#include "Audition/Player.h"
#include "Desk/Look.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright::desk {

namespace {

juce::PropertiesFile::Options options() {
    juce::PropertiesFile::Options chosen;
    chosen.applicationName = "spillwright";
    chosen.filenameSuffix = "xml";
    chosen.millisecondsBeforeSaving = 500;
    return chosen;
}

/// What the file calls them, in their order.
constexpr std::array nudgeUnits{"ms", "samples", "distance"};
constexpr std::array distanceUnits{"metric", "inches"};
constexpr int mostRecent = 5;
constexpr double quietestStart = -60.0; ///< dB; what was turned down all the way would seem broken.

} // namespace

Preferences::Preferences(const juce::File& folder) : file(folder.getChildFile("window.xml"), options()) {}

juce::File Preferences::usualFolder() {
    return juce::File::getSpecialLocation(juce::File::userApplicationDataDirectory).getChildFile("spillwright");
}

int Preferences::scalePercent() const {
    return std::clamp(file.getIntValue("scalePercent", 100), smallestScale, largestScale);
}

void Preferences::setScalePercent(int percent) {
    file.setValue("scalePercent", std::clamp(percent, smallestScale, largestScale));
}

Decibels Preferences::startLevel() const {
    const double start = Player::startLevel.value;
    const double last = file.getDoubleValue("outputLevel_dB", start);
    return Decibels(std::isfinite(last) ? std::clamp(last, quietestStart, start) : start);
}

Band Preferences::band() const {
    const double low = file.getDoubleValue("bandLow_Hz"), high = file.getDoubleValue("bandHigh_Hz");
    return low > 0.0 && low < high ? Band{Hertz(low), Hertz(high)} : lowMidBand;
}

Celsius Preferences::temperature() const {
    const double usual = 20.0, kept = file.getDoubleValue("temperature_C", usual);
    return Celsius(std::isfinite(kept) ? std::clamp(kept, -30.0, 50.0) : usual);
}

void Preferences::setReading(Band band, Celsius temperature) {
    if (band == lowMidBand) {
        file.removeValue("bandLow_Hz");
        file.removeValue("bandHigh_Hz");
    } else {
        file.setValue("bandLow_Hz", band.low.value);
        file.setValue("bandHigh_Hz", band.high.value);
    }
    file.setValue("temperature_C", temperature.value);
}

Units Preferences::units() const {
    Units kept;
    for (std::size_t k = 0; k < nudgeUnits.size(); ++k)
        if (file.getValue("nudgesIn") == nudgeUnits[k]) kept.nudges = static_cast<NudgeUnit>(k);
    for (std::size_t k = 0; k < distanceUnits.size(); ++k)
        if (file.getValue("distancesIn") == distanceUnits[k]) kept.distances = static_cast<DistanceUnit>(k);
    return kept;
}

void Preferences::setUnits(const Units& units) {
    file.setValue("nudgesIn", nudgeUnits[static_cast<std::size_t>(units.nudges)]);
    file.setValue("distancesIn", distanceUnits[static_cast<std::size_t>(units.distances)]);
}

DeviceChoice Preferences::deviceChoice() const {
    return {file.getValue("deviceType").toStdString(), file.getValue("deviceName").toStdString(),
            file.getDoubleValue("deviceRate_Hz"), file.getIntValue("deviceBuffer")};
}

void Preferences::setDeviceChoice(const DeviceChoice& choice) {
    file.setValue("deviceType", ui::text(choice.type));
    file.setValue("deviceName", ui::text(choice.name));
    file.setValue("deviceRate_Hz", choice.rate);
    file.setValue("deviceBuffer", choice.buffer);
}

juce::StringArray Preferences::recent() const {
    auto paths = juce::StringArray::fromLines(file.getValue("recent"));
    paths.removeEmptyStrings();
    return paths;
}

void Preferences::addRecent(const juce::String& path) {
    auto paths = recent();
    paths.removeString(path);
    paths.insert(0, path);
    paths.removeRange(mostRecent, paths.size());
    file.setValue("recent", paths.joinIntoString("\n"));
}

} // namespace spillwright::desk
