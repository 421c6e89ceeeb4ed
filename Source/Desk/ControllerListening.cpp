// The controller's part that has to do with how the sum is listened to.

#include "Desk/Controller.h"

#include "Core/Loudness.h"
#include "Core/Propose/MomentGain.h"
#include "Session/Setting.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr std::chrono::milliseconds guessedAwhile(300); ///< What was metered of it is true so long.
std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

} // namespace

void Controller::setListening(const Listening& wanted) {
    if (wanted == listenedTo) return;
    listenedTo = wanted;
    tell(listeningChanged);
}

void Controller::toggleDifference() {
    if (less)
        less.reset();
    else if (heardBefore && *heardBefore != now->heard && versions[indexOf(*heardBefore)])
        less = heardBefore;
    else
        return say("Hear two versions one after the other first: their difference follows.");
    tell(listeningChanged);
}

bool Controller::pairSoloed() const {
    if (chosen < 0 || partner < 0) return false;
    for (int track = 0; track < trackCount(); ++track)
        if (soloed[at(track)] != (track == chosen || track == partner)) return false;
    return true;
}

void Controller::togglePairSolo() {
    if (chosen < 0 || partner < 0)
        return say("Choose a square of the grid first: its two tracks are then heard alone.");
    std::vector<bool> solo(tracks().size(), false);
    if (!pairSoloed()) solo[at(chosen)] = solo[at(partner)] = true;
    setSolo(std::move(solo));
}

void Controller::toggleSpillSolo() {
    if (soloBeforeSpill) return setSolo(*std::exchange(soloBeforeSpill, std::nullopt));
    if (chosenColumn < 0 || chosenColumn >= sourceCount()) return say("No sources are told apart yet.");
    bool any = false;
    for (int track = 0; track < trackCount(); ++track)
        any = any || sourceOf(withSources()->sources->map.plan, track) != chosenColumn;
    if (!any)
        return say("Every track stands close to " + shownSourceName(chosenColumn) +
                   ": there is no spill of it to hear.");
    soloBeforeSpill = soloed;
    soloSpill();
}

void Controller::soloSpill() {
    std::vector<bool> rest(tracks().size(), true);
    for (int track = 0; track < trackCount(); ++track)
        rest[at(track)] = sourceOf(withSources()->sources->map.plan, track) != chosenColumn;
    soloed = std::move(rest);
    tell(settingChanged | listeningChanged);
    startPeaks();
}

std::string Controller::loopInWords() const {
    return clockText(loopFrom.value, true) + " to " + clockText(loopTo.value, true) + ", over and over";
}

void Controller::setMatching(bool match) {
    if (match == matching) return;
    matching = match;
    tell(listeningChanged);
}

/// Of the loop as it is now; until that is known, what was known of the one before is taken.
void Controller::startLoudness() {
    if (!whole.of) return;
    const double rate = openRecording->sampleRate();
    const auto sampleOf = [&](Seconds time) {
        return std::clamp<std::int64_t>(std::llround(time.value * rate), 0, openRecording->length());
    };
    LoudnessOptions options;
    options.from = sampleOf(loopFrom);
    options.to = sampleOf(loopTo);
    options.round = true;
    if (options.to <= options.from) return;
    loudWork.start([this, source = openRecording, options](const Watch& watch) -> Background::Finish {
        auto found = computeLoudnessModel(*source, options, loudWorkers, watch);
        if (!found) return {}; // what cannot be read is said by the player, at the moment it matters
        return [this, source, model = std::make_shared<const LoudnessModel>(std::move(*found))] {
            if (openRecording != source) return;
            loudness = model;
            ++loudnessReadings;
            loudOnes.clear();
        };
    });
}

std::optional<double> Controller::loudnessLufs(const std::vector<TrackAdjustment>& setting) const {
    if (!loudness) return std::nullopt;
    // A step of a nudge asks for the same few settings again and again, and each takes milliseconds.
    const auto known =
        std::find_if(loudOnes.begin(), loudOnes.end(), [&](const Loud& one) { return one.setting == setting; });
    if (known != loudOnes.end()) {
        std::rotate(loudOnes.begin(), known, known + 1);
        return loudOnes.front().lufs;
    }
    std::vector<PanGains> pans;
    for (std::size_t track = 0; track < setting.size(); ++track)
        pans.push_back(panGains(effectivePan(tracks()[track], setting[track])));
    if (loudOnes.size() == mostLoudOnes) loudOnes.pop_back();
    loudOnes.insert(loudOnes.begin(), {setting, loudness->loudness(setting, pans)});
    return loudOnes.front().lufs;
}

/// By how much a setting would be turned, in decibels; none where it is not matched.
std::optional<double> Controller::turned(const std::vector<TrackAdjustment>& setting) const {
    if (!matching || !loudness || aloneSound) return std::nullopt;
    auto plain = now->balance();
    for (auto& adjustment : plain) {
        adjustment.flip = false;
        adjustment.nudge = Seconds(0.0);
    }
    const auto wanted = loudnessLufs(withSolo(std::move(plain), soloed)); // what is soloed is matched as it is heard
    const auto is = loudnessLufs(withSolo(setting, soloed));
    return wanted && is ? std::optional(*wanted - *is) : std::nullopt;
}

Decibels Controller::compensation(const std::vector<TrackAdjustment>& setting) const {
    return Decibels(std::clamp(turned(setting).value_or(0.0), mostTurnedDown.value, mostTurnedUp.value));
}

bool Controller::matchedInFull(const std::vector<TrackAdjustment>& setting) const {
    return turned(setting).value_or(0.0) == compensation(setting).value;
}

/// Before the loudness is known the tracks are taken to be alike and to ignore each other.
double Controller::loudnessToBe(const std::vector<TrackAdjustment>& setting, const std::vector<bool>& solo) const {
    const auto heard = withSolo(setting, solo);
    if (loudness) return loudnessLufs(heard).value_or(absoluteGate);
    double power = 0.0;
    for (const auto& one : heard)
        if (!one.muted) power += std::pow(10.0, one.gain.value / 10.0);
    return power > 0.0 ? decibelsOfPower(power) : absoluteGate;
}

HeardMix Controller::heardMix() const {
    HeardMix mix;
    mix.adjustments = now->adjustments;
    mix.solo = soloed;
    mix.gain = compensation(now->adjustments);
    mix.loudness = loudnessToBe(mix.adjustments, mix.solo) + mix.gain.value;
    mix.loudnessBasis = loudnessBasis();
    if (less)
        if (const auto other = settingOf(*less)) {
            mix.less = HeardMix::Other{*other, compensation(*other)};
            // Of a difference only the most is known.
            const double taken = loudnessToBe(*other, mix.solo) + mix.less->gain.value;
            mix.loudness = decibelsOfAmplitude(amplitudeOfDecibels(*mix.loudness) + amplitudeOfDecibels(taken));
        }
    return mix;
}

HeardMix Controller::nextMix() {
    auto mix = heardMix();
    const auto time = std::chrono::steady_clock::now();
    if (guessedGiven) guessedLast = time;
    guessedGiven = mix.less || aloneSound;
    if (loudness && time - guessedLast < guessedAwhile) mix.heardBefore = meteredLufs;
    return mix;
}

void Controller::readMoment(std::vector<std::vector<float>> samples) {
    if (!measurement() || momentWork.busy() || samples.size() != tracks().size()) return;
    std::vector<std::vector<float>> usable;
    std::vector<TrackAdjustment> theirs; // of the setting, as the predicted one is, whatever is soloed
    for (int track : measurement()->usable) {
        usable.push_back(std::move(samples[at(track)]));
        theirs.push_back(now->adjustments[at(track)]);
    }
    momentWork.start([this, usable = std::move(usable), theirs = std::move(theirs), source = openRecording,
                      band = measurement()->options.band](const Watch&) -> Background::Finish {
        const auto gain = momentGain(usable, source->sampleRate(), theirs, band);
        return [this, gain, source] {
            if (openRecording != source) return;
            momentDb = gain ? std::optional(decibelsOfPower(*gain)) : std::nullopt;
        };
    });
}

void Controller::forgetMoment() {
    momentDb.reset();
}

} // namespace spillwright::desk
