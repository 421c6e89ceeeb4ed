#include "Desk/OtherTake.h"

#include "Core/Loudness.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"
#include "Session/Sources.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr int fadeMilliseconds = 40; ///< The fade of a change over, and the device's buffer before it.

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

double secondsOf(std::int64_t sample, const Controller& take) {
    return static_cast<double>(sample) / take.recording()->sampleRate();
}

std::int64_t sampleOf(Seconds time, const Controller& take) {
    return std::clamp<std::int64_t>(std::llround(time.value * take.recording()->sampleRate()), 0,
                                    take.recording()->length());
}

} // namespace

OtherTake::OtherTake(Controller& f, Player& p, const std::filesystem::path& folder)
    : first(f), player(p), open(f.recording()), second(f.another()) {
    std::error_code ignored;
    if (std::filesystem::equivalent(folder, first.recording()->folder(), ignored))
        wrong = folder.string() + ": is the take that is open; choose the folder of another one";
    else
        second->openFolder(folder);
}

void OtherTake::poll() {
    second->poll();
    work.poll();
    if (left || !wrong.empty()) return;
    if (!comparing) {
        if (!second->busy() && !second->measurement())
            wrong = second->notice() ? second->notice()->text : "Nothing was opened; choose another folder";
        else if (!second->busy() && first.wholeMeasurement() && !first.hearingSources())
            startComparing();
        return;
    }
    if (wanted) tryToChangeOver();
}

bool OtherTake::settled() const {
    return !wrong.empty() || (ready && !work.busy() && !second->readingLoudness() && !second->hearingSources());
}

std::string OtherTake::progressInWords() const {
    if (second->busy()) return "the other take: " + words::task(*second);
    if (!work.busy()) return comparing || !wrong.empty() ? "" : "waiting for the open take to be heard through";
    return (aligning ? "finding each moment of the one in the other " : "comparing the takes ") +
           std::to_string(static_cast<int>(work.progress() * 100.0)) + " %";
}

void OtherTake::startComparing() {
    comparing = true;
    CompareOptions options;
    options.match = matchedByHand;
    if (const auto* heard = first.withSources()) {
        options.sources = listOf(*heard);
        for (const int track : heard->sources->unsure)
            options.unsure.push_back(first.tracks()[at(track)].name);
    }
    work.start([this, options, a = first.wholeMeasurement(),
                b = second->wholeMeasurement()](const Watch& watch) -> Background::Finish {
        auto found = compareTakes({*a, *b}, options, workers, watch);
        if (!found)
            return [this, fault = found.fault()] {
                wrong = fault.where + ": " + fault.what + "; choose another folder, or say which track is which";
            };
        return [this, made = std::make_shared<Comparison>(std::move(found).value())] {
            compared = std::move(*made);
            if (left) return;
            followSetting();
            player.openBeside(second->recording());
            if (alignment)
                makeReady();
            else
                startAligning();
        };
    });
}

void OtherTake::startAligning() {
    aligning = true;
    work.start([this, a = first.recording(), b = second->recording()](const Watch& watch) -> Background::Finish {
        auto found = alignTakes(*a, *b, workers, watch);
        return [this, made = std::make_shared<Result<TakeAlignment>>(std::move(found))] {
            if (*made) alignment = std::move(*made).value(); // else no moment is known to be the same
            if (!left) makeReady();
        };
    });
}

void OtherTake::match(std::vector<std::pair<std::string, std::string>> byHand) {
    if (!canMatch()) return;
    hearFirstNow();
    matchedByHand = std::move(byHand);
    wrong.clear();
    compared.reset();
    ready = aligning = false;
    startComparing();
}

/// The second one has a loop of its own; how loud it is is read of that.
void OtherTake::makeReady() {
    firstLoop = {player.loopFrom(), player.loopTo()};
    secondLoop = loopInSecond();
    player.setLoop(secondLoop.from, secondLoop.to, Player::Which::beside);
    second->setLoop(Seconds(secondsOf(secondLoop.from, *second)), Seconds(secondsOf(secondLoop.to, *second)));
    ready = true;
}

// ---- which track is which

std::optional<int> OtherTake::comparedTrack(int trackOfFirst) const {
    if (!compared || trackOfFirst < 0) return std::nullopt;
    for (std::size_t k = 0; k < compared->tracks.size(); ++k)
        if (compared->tracks[k].tracks.front() == trackOfFirst) return static_cast<int>(k);
    return std::nullopt;
}

std::optional<int> OtherTake::inSecond(int trackOfFirst) const {
    const auto place = comparedTrack(trackOfFirst);
    if (!place || compared->tracks[at(*place)].tracks.back() < 0) return std::nullopt;
    return compared->tracks[at(*place)].tracks.back();
}

std::optional<int> OtherTake::inFirst(int trackOfSecond) const {
    if (!compared || trackOfSecond < 0) return std::nullopt;
    for (const auto& track : compared->tracks)
        if (track.tracks.back() == trackOfSecond && track.tracks.front() >= 0) return track.tracks.front();
    return std::nullopt;
}

// ---- listening

std::optional<Seconds> OtherTake::aligned(Seconds time, bool toSecond) const {
    if (!alignment) return std::nullopt;
    const auto found = toSecond ? alignment->inSecond(time) : alignment->inFirst(time);
    return found && found->confidence >= sureConfidence ? std::optional(found->time) : std::nullopt;
}

OtherTake::Loop OtherTake::loopInSecond() const {
    const std::int64_t length = second->recording()->length();
    if (first.loopsWhole()) return {0, length};
    const Moments loop = first.loopMoments();
    const auto from = aligned(loop.from, true), to = aligned(loop.to, true);
    const bool both = from && to && *from < *to;
    const Loop found{sampleOf(both ? *from : loop.from, *second), sampleOf(both ? *to : loop.to, *second)};
    return found.from < found.to ? found : Loop{0, length};
}

OtherTake::Place OtherTake::sameMoment(std::int64_t heard) const {
    const Controller &here = heardSecond ? *second : first, &there = heardSecond ? first : *second;
    const Loop &own = heardSecond ? secondLoop : firstLoop, &other = heardSecond ? firstLoop : secondLoop;
    const Seconds now(secondsOf(heard, here));
    if (const auto same = aligned(now, !heardSecond)) {
        const auto sample = sampleOf(*same, there);
        if (sample >= other.from && sample < other.to) return {sample, true};
    }
    const auto since = sampleOf(now - Seconds(secondsOf(own.from, here)), there);
    return {other.from + since % (other.to - other.from), false};
}

std::optional<double> OtherTake::firstLufs() const {
    const auto lufs = first.loudnessLufs(first.heardAdjustments());
    return lufs ? std::optional(*lufs + first.heardMix().gain.value) : std::nullopt;
}

std::vector<TrackAdjustment> OtherTake::matched(const std::vector<TrackAdjustment>& ofFirst, bool muteOthers) const {
    std::vector<TrackAdjustment> own(at(second->trackCount()));
    for (std::size_t track = 0; track < own.size(); ++track)
        if (const auto same = inFirst(static_cast<int>(track)))
            own[track] = ofFirst[at(*same)];
        else
            own[track].muted = muteOthers;
    return own;
}

void OtherTake::followSetting() {
    if (compared && !left && first.recording() == open) second->setAll(matched(first.adjustments(), false));
}

HeardMix OtherTake::secondMix() const {
    const auto ofFirst = first.heardMix();
    HeardMix mix;
    mix.adjustments = matched(first.heardAdjustments(), true);
    mix.gain = ofFirst.gain;
    const auto wantedLufs = firstLufs(), is = second->loudnessLufs(mix.adjustments);
    if (wantedLufs && is)
        mix.gain =
            Decibels(std::clamp(*wantedLufs - *is, Controller::mostTurnedDown.value, Controller::mostTurnedUp.value));
    if (is) mix.loudness = *is + mix.gain.value;
    mix.loudnessBasis = second->loudnessBasis();
    if (ofFirst.less)
        mix.less = HeardMix::Other{matched(ofFirst.less->adjustments, true),
                                   Decibels(ofFirst.less->gain.value + mix.gain.value - ofFirst.gain.value)};
    return mix;
}

/// What matching leaves.
Decibels OtherTake::secondLouderBy() const {
    return Decibels(secondMix().loudness.value_or(absoluteGate) - firstLufs().value_or(absoluteGate));
}

void OtherTake::hear(bool wantSecond) {
    wanted.reset();
    if (wantSecond == heardSecond || left || !compared) return;
    wanted = wantSecond;
    tryToChangeOver();
}

void OtherTake::tryToChangeOver() {
    if (!ready || first.readingLoudness() || second->readingLoudness()) return;
    player.hear(heardSecond ? first.heardMix() : secondMix(), Player::Which::beside); // what changed meanwhile
    player.seek(sameMoment(player.position()).sample, Player::Which::beside);         // so that it is in memory there
    if (!player.besideReady()) return; // the next time it will be farther on, and nearly there
    bool sure = false;
    const auto there = [&](std::int64_t heard) {
        const auto place = sameMoment(heard);
        sure = place.sure;
        return place.sample;
    };
    if (!player.changeOver(heardSecond ? -secondLouderBy() : secondLouderBy(), there)) return;
    heardSecond = *wanted;
    surelySame = sure;
    wanted.reset();
}

std::string OtherTake::hearingInWords() const {
    if (!compared) return {};
    const std::string name = secondWanted() ? "B" : "A";
    if (wanted) return name + " is made ready to be heard.";
    if (!ready) return "A is heard; B once each moment of the one is found in the other.";
    std::string how = name + " is heard";
    if (heardSecond) how += ", turned " + signedAmount(secondMix().gain.value, 1) + " dB to be as loud";
    if (heardSecond && std::abs(secondLouderBy().value) > 0.05) how += ", which is not enough";
    if (heardSecond && !surelySame) how += "; at this place of the loop: the moment is not surely the same";
    return how + ".";
}

/// Where the first one is not in memory there, it sounds as soon as it is: the second one goes now.
void OtherTake::hearFirstNow() {
    wanted.reset();
    if (!heardSecond) return;
    const auto there = [&](std::int64_t heard) { return sameMoment(heard).sample; };
    if (!player.changeOver(-secondLouderBy(), there)) player.changeOver(-secondLouderBy());
    heardSecond = false;
}

bool OtherTake::leave() {
    left = true;
    wanted.reset();
    work.cancel();
    second->cancel();
    if (first.recording() != open) return false;
    if (heardSecond) {
        hearFirstNow();
        if (player.playing()) juce::Thread::sleep(fadeMilliseconds);
    }
    player.openBeside(std::shared_ptr<const Recording>());
    return true;
}

} // namespace spillwright::desk
