#include "Session/Readings.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;
constexpr int seconds = 40;
constexpr double lateFirst = 48.0, lateThen = -96.0; // samples: 1 ms, then -2 ms

// Each part of what is kept of a cross-spectrum is rounded to 8 significant bits: 2^-8 of its magnitude at most.
constexpr double keptRounding = 0x1p-8;

/// What the second half of a plays into b is another source: earlier instead of later, the right way up instead of
/// upside down. c hears the first source throughout; d is silent in the first half; e shares nothing with anyone.
MemorySource makeChangingBand() {
    const std::size_t length = static_cast<std::size_t>(seconds * rate), half = length / 2;
    const auto sound = pinkNoise(length, 1);
    const auto first = delayed(sound, lateFirst, -0.9), then = delayed(sound, lateThen, 0.9);
    auto b = first;
    std::copy(then.begin() + static_cast<std::ptrdiff_t>(half), then.end(),
              b.begin() + static_cast<std::ptrdiff_t>(half));
    auto d = sound;
    std::fill_n(d.begin(), half, 0.0f);
    return MemorySource({sum(sound, whiteNoise(length, 2), 0.02), sum(b, whiteNoise(length, 3), 0.02),
                         sum(delayed(sound, 30.0, 0.5), pinkNoise(length, 4), 0.5), d, pinkNoise(length, 5)});
}

const MemorySource& changingBand() { // made once: it takes seconds
    static const MemorySource band = makeChangingBand();
    return band;
}

struct Changing {
    Workers workers{2};
    Measurement whole = measured({});

    Measurement measured(const MeasureOptions& options, const MemorySource& source = changingBand()) {
        std::vector<TrackInfo> tracks(5);
        for (std::size_t k = 0; k < tracks.size(); ++k)
            tracks[k].name = tracks[k].file = std::string(1, static_cast<char>('a' + k));
        auto m = measure("folder", tracks, source, {}, options, workers, {});
        REQUIRE(m.ok());
        return std::move(m).value();
    }
    Measurement read(double from, double to) {
        auto m = readStretches(whole, Seconds(from), Seconds(to), workers, {});
        if (!m) FAIL(m.fault().line());
        return std::move(m).value();
    }
};

const PairReading& pairOf(const Measurement& m, int first, int second) {
    const auto found = std::find_if(m.pairs.begin(), m.pairs.end(),
                                    [&](const PairReading& p) { return p.first == first && p.second == second; });
    REQUIRE(found != m.pairs.end());
    return *found;
}

double gainOf(Decibels dB) {
    return std::pow(10.0, dB.value / 10.0);
}

} // namespace

TEST_CASE("chosen stretches are read as measuring their span anew reads it") {
    Changing band;
    for (const auto& [from, to] : {std::pair{0.0, 10.0}, {6.0, 14.5}, {22.0, 39.0}}) {
        const auto chosen = band.read(from, to);
        const auto anew = band.measured(chosen.options);
        INFO(from << " to " << to << " s: " << chosen.options.from->value << " to " << chosen.options.to->value);
        CHECK(spanOf(anew) == spanOf(chosen));
        CHECK(chosen.spectra->windows() == anew.spectra->windows());
        CHECK(chosen.usable == anew.usable);
        REQUIRE(chosen.pairs.size() == anew.pairs.size());
        for (std::size_t k = 0; k < anew.pairs.size(); ++k) {
            const auto &a = chosen.pairs[k], &b = anew.pairs[k];
            INFO(b.first << " " << b.second);
            CHECK(a.related == b.related);
            CHECK(a.polarity.has_value() == b.polarity.has_value());
            if (a.polarity && b.polarity) CHECK(a.polarity->polarity == b.polarity->polarity);
            // Pools of 12 Hz above 2 kHz and the rounding move a peak by far less than a reading is sure of: a
            // twentieth of a sample.
            if (a.arrival && b.arrival) CHECK(a.arrival->delay.value == Approx(b.arrival->delay.value).margin(1e-6));
            // |S|^2/(P P): twice the rounding of S and once that of either power. The band lies where every bin is
            // kept.
            CHECK(a.coherence == Approx(b.coherence).margin(4.0 * keptRounding));
            // (P1 + P2 + 2 Re S)/(P1 + P2), at most 2: of each its own rounding, 2|S| <= P1 + P2.
            CHECK(gainOf(a.summationGain) == Approx(gainOf(b.summationGain)).margin(4.0 * keptRounding));
            CHECK(gainOf(a.summationGainFlipped) == Approx(gainOf(b.summationGainFlipped)).margin(4.0 * keptRounding));
        }
        // The model and what it proposes follow from the same spectra.
        const std::vector<TrackAdjustment> asRecorded(5);
        const std::vector<int> signs(anew.usable.size(), 1);
        const std::vector<double> nudges(anew.usable.size(), 0.0);
        CHECK(summationModel(chosen, asRecorded).gain(signs, nudges) ==
              Approx(summationModel(anew, asRecorded).gain(signs, nudges)).margin(4.0 * keptRounding * signs.size()));
        ProposeOptions flips;
        flips.rungs = {Allow::flips};
        const auto proposed = makeProposals(chosen, flips, band.workers, {});
        const auto proposedAnew = makeProposals(anew, flips, band.workers, {});
        REQUIRE(proposed.ok());
        REQUIRE(proposedAnew.ok());
        CHECK(proposed->proposals[0].proposal.flips == proposedAnew->proposals[0].proposal.flips);
    }
}

TEST_CASE("either half of a recording whose source changes is read for what it is") {
    Changing band;
    const auto before = band.read(0.0, seconds / 2 - 1.0), after = band.read(seconds / 2 + 1.0, seconds);
    // A hundredth of a millisecond, half a sample: the noise of either is 34 dB below.
    CHECK(pairOf(before, 0, 1).arrival->delay.value == Approx(lateFirst / rate).margin(1e-5));
    CHECK(pairOf(before, 0, 1).polarity->polarity == Polarity::inverted);
    CHECK(pairOf(after, 0, 1).arrival->delay.value == Approx(lateThen / rate).margin(1e-5));
    CHECK(pairOf(after, 0, 1).polarity->polarity == Polarity::same);
    CHECK_FALSE(pairOf(before, 0, 4).related);
    CHECK(before.tracks[3].state == TrackState::silent);
    CHECK(before.usable == std::vector<int>{0, 1, 2, 4});
    CHECK(after.tracks[3].state == TrackState::ok);
}

TEST_CASE("a span takes the stretches that are at least half in it, and says which") {
    Changing band;
    const auto& spectra = *band.whole.spectra;
    REQUIRE(spectra.stretches() >= 6);
    const auto time = [](std::int64_t sample) { return static_cast<double>(sample) / rate; };
    const StretchSpan second = spectra.stretchSpan(1), third = spectra.stretchSpan(2);
    const double length = time(second.to - second.from);

    const auto covered = [&](double from, double to) { return spanOf(band.read(from, to)); };
    // A hundredth of a stretch on either side of half of the second one.
    CHECK(covered(time(second.from) + 0.49 * length, time(third.to)).from == Seconds(time(second.from)));
    CHECK(covered(time(second.from) + 0.51 * length, time(third.to)).from == Seconds(time(third.from)));
    // Much less than half of any: the one that overlaps most.
    const auto little = covered(time(third.from) + 0.3 * length, time(third.from) + 0.4 * length);
    CHECK(little == ReadSpan{Seconds(time(third.from)), Seconds(time(third.to))});
    // What follows the last window belongs to the last stretch.
    const auto last = spectra.stretchSpan(spectra.stretches() - 1);
    if (last.to < spectra.to()) CHECK(covered(time(last.to), time(spectra.to())).from == Seconds(time(last.from)));
    CHECK(band.read(1.0, 6.0).options.from == covered(1.0, 6.0).from);
}

TEST_CASE("all stretches are the whole, with the readings it has") {
    Changing band;
    const auto all = band.read(0.0, seconds);
    CHECK(all.spectra == band.whole.spectra);
    CHECK(all.pairs.size() == band.whole.pairs.size());
    CHECK(all.warnings.empty());
    CHECK(spanOf(all) == spanOf(band.whole));
}

TEST_CASE("moments of which nothing is known are one clear line") {
    Changing band;
    const auto outside = readStretches(band.whole, Seconds(seconds + 1.0), Seconds(seconds + 2.0), band.workers, {});
    REQUIRE_FALSE(outside.ok());
    CHECK(outside.fault().line() == "folder: nothing was measured from 41 s to 42 s; choose moments that were");
    CHECK_FALSE(readStretches(band.whole, Seconds(3.0), Seconds(3.0), band.workers, {}).ok());

    std::vector<float> late = whiteNoise(static_cast<std::size_t>(24 * rate), 1);
    std::fill_n(late.begin(), late.size() / 2, 0.0f);
    const auto whole = band.measured({}, MemorySource({late, late, late, late, late}));
    const auto silence = readStretches(whole, Seconds(0.0), Seconds(5.0), band.workers, {});
    REQUIRE_FALSE(silence.ok());
    CHECK(silence.fault().line().find("nothing sounds from 0 s to") != std::string::npos);
}

TEST_CASE("of moments alone nothing is kept above 8 kHz: a band up there is one clear line, one across it a remark") {
    Changing band;
    MeasureOptions options;
    options.band = {Hertz(9000.0), Hertz(12000.0)};
    const auto above = band.measured(options);
    CHECK(above.warnings.empty()); // of the whole it is measured
    const auto nothing = readStretches(above, Seconds(0.0), Seconds(10.0), band.workers, {});
    REQUIRE_FALSE(nothing.ok());
    CHECK(nothing.fault().line() ==
          "folder: the band holds none of the frequencies that are measured, up to 8013 Hz every 2.9 Hz; choose a "
          "lower or a wider band");

    options.band = {Hertz(4000.0), Hertz(12000.0)};
    const auto part = readStretches(band.measured(options), Seconds(0.0), Seconds(10.0), band.workers, {});
    REQUIRE(part.ok());
    CHECK(part->warnings ==
          std::vector<std::string>{"folder: the band is read up to 8013 Hz; nothing higher is measured"});
}

TEST_CASE("reading stretches stops when told to") {
    Changing band;
    std::stop_source stop;
    stop.request_stop();
    const auto m = readStretches(band.whole, Seconds(0.0), Seconds(10.0), band.workers, {{}, stop.get_token()});
    REQUIRE_FALSE(m.ok());
    CHECK(m.fault().kind == Fault::Kind::cancelled);
}
