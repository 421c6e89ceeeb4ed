#include "Core/Sources/SpillMap.h"

#include "Core/Measure/WindowSpectra.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>
#include <utility>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 16000.0;
constexpr double length = 30.0; // s

std::vector<float> hiss(std::uint64_t seed) {
    return whiteNoise(static_cast<std::size_t>(length * rate), seed);
}

/// Strokes of noise at moments of its own, each of which dies away.
std::vector<float> player(std::uint64_t seed, std::optional<std::uint64_t> moments = std::nullopt) {
    auto sound = hiss(seed);
    Noise dice(moments.value_or(seed) + 1000);
    double level = 0.0;
    std::size_t next = 0;
    for (std::size_t n = 0; n < sound.size(); ++n) {
        if (n == next) {
            level = 0.2 + dice.uniform();
            next += static_cast<std::size_t>((0.3 + 1.4 * dice.uniform()) * rate);
        }
        sound[n] *= static_cast<float>(level);
        level *= 1.0 - 1.0 / (0.3 * rate);
    }
    return sound;
}

std::vector<float> within(const std::vector<float>& sound, double lowHz, double highHz) {
    return filtered(sound, rate, [&](double hertz) { return hertz > lowHz && hertz < highHz ? 1.0 : 0.0; });
}

/// How a track hears a sound: level in dB, delay in samples, sign.
struct Heard {
    const std::vector<float>& sound;
    double levelDb = 0.0;
    std::size_t late = 0;
    double sign = 1.0;
};
std::vector<float> mixed(const std::vector<Heard>& parts, std::uint64_t seed, double noise = 1e-5) {
    auto sum = whiteNoise(parts.front().sound.size(), seed, noise);
    for (const auto& part : parts)
        for (std::size_t n = part.late; n < sum.size(); ++n)
            sum[n] += static_cast<float>(part.sign * amplitudeOfDecibels(part.levelDb)) * part.sound[n - part.late];
    return sum;
}

double power(const std::vector<float>& samples) {
    return std::inner_product(samples.begin(), samples.end(), samples.begin(), 0.0);
}

CrossSpectra measured(const std::vector<std::vector<float>>& tracks) {
    const MemorySource source(tracks, rate);
    Workers workers(2);
    auto spectra = computeCrossSpectra(source, {}, workers, {});
    REQUIRE(spectra);
    return std::move(spectra).value();
}

SourcePlan planOf(const std::vector<std::vector<int>>& closeTracks) {
    SourcePlan plan;
    for (const auto& tracks : closeTracks)
        plan.sources.push_back({tracks});
    return plan;
}

SpillMap mapOf(const CrossSpectra& spectra, const std::vector<std::vector<int>>& closeTracks,
               std::vector<int> usable = {}, int workerCount = 2) {
    if (usable.empty())
        for (int track = 0; track < spectra.trackCount(); ++track)
            usable.push_back(track);
    Workers workers(workerCount);
    auto map = readSpillMap(spectra, planOf(closeTracks), usable, {}, workers, {});
    REQUIRE(map);
    return std::move(map).value();
}

const SpillReading& at(const SpillMap& map, int source, int track) {
    const auto* reading = map.reading(source, track);
    REQUIRE(reading);
    return *reading;
}

/// Three players with a microphone each, and a microphone for all of them.
struct Session {
    std::vector<float> first = player(1), second = player(2), third = player(3);
    CrossSpectra spectra = measured({
        mixed({{first}, {second, -14, 60}, {third, -20, 90, -1}}, 10),
        mixed({{second}, {first, -12, 50}, {third, -16, 70}}, 11),
        mixed({{third}, {first, -18, 80, -1}, {second, -10, 40}}, 12),
        mixed({{first, -6, 130}, {second, -9, 100, -1}, {third, -3, 160}}, 13),
    });
    const SpillMap map = mapOf(spectra, {{0}, {1}, {2}});
};
const Session& session() {
    static const Session one;
    return one;
}

} // namespace

TEST_CASE("every player is heard everywhere as loud, as late and the way up that it was mixed") {
    const auto& map = session().map;
    struct Truth {
        int source, track;
        double level;
        int late;
        Polarity polarity;
    };
    const auto same = Polarity::same, inverted = Polarity::inverted;
    for (const Truth& truth : std::vector<Truth>{{0, 1, -12, 50, same},
                                                 {0, 2, -18, 80, inverted},
                                                 {0, 3, -6, 130, same},
                                                 {1, 0, -14, 60, same},
                                                 {1, 2, -10, 40, same},
                                                 {1, 3, -9, 100, inverted},
                                                 {2, 0, -20, 90, inverted},
                                                 {2, 1, -16, 70, same},
                                                 {2, 3, -3, 160, same}}) {
        INFO("source " << truth.source << " in track " << truth.track);
        const auto& reading = at(map, truth.source, truth.track);
        REQUIRE(reading.level);
        CHECK(reading.level->value == Approx(truth.level).margin(0.3));
        REQUIRE(reading.levelLowMid);
        CHECK(reading.levelLowMid->value == Approx(truth.level).margin(1.0));
        REQUIRE(reading.arrival);
        CHECK(reading.arrival->delay.value * rate == Approx(truth.late).margin(0.5));
        CHECK(reading.arrival->uncertainty.value * rate < 1.0);
        CHECK(reading.arrival->confidence >= 0.8);
        REQUIRE(reading.polarity);
        CHECK(reading.polarity->polarity == truth.polarity);
        CHECK(reading.polarity->confidence >= 0.8);
        CHECK(reading.coherence > 0.7);
    }
}

TEST_CASE("of its own close track a source is told with 0 dB, at once and the same way up") {
    const auto& own = at(session().map, 1, 1);
    CHECK(own.level == Decibels(0.0));
    CHECK(own.levelLowMid == Decibels(0.0));
    CHECK(own.arrival->delay == Seconds(0.0));
    CHECK(own.polarity->polarity == Polarity::same);
    CHECK(own.coherence == Approx(1.0));
}

TEST_CASE("the spill of a track is what is not its own player, and all of a room track is") {
    const auto& [first, second, third, spectra, map] = session();
    const double of[]{power(first), power(second), power(third)};
    const auto share = [](double own, double a, double dbOfA, double b, double dbOfB) {
        const double spill = a * std::pow(10.0, dbOfA / 10.0) + b * std::pow(10.0, dbOfB / 10.0);
        return spill / (own + spill);
    };
    CHECK(map.spillShare[0] == Approx(share(of[0], of[1], -14, of[2], -20)).margin(0.01));
    CHECK(map.spillShare[1] == Approx(share(of[1], of[0], -12, of[2], -16)).margin(0.01));
    CHECK(map.spillShare[2] == Approx(share(of[2], of[0], -18, of[1], -10)).margin(0.01));
    CHECK(map.spillShare[3] == 1.0);
    double sum = 0.0;
    for (int source = 0; source < 3; ++source)
        sum += at(map, source, 3).shareOfTrack;
    CHECK(sum == Approx(1.0).margin(0.02));
    CHECK(map.unexplained[3] < 0.02);
}

TEST_CASE("parts are made to add up to a reverberant track where a room track tells of the reverberation") {
    constexpr std::size_t players = 3, few = static_cast<std::size_t>(10.0 * rate);
    std::vector<std::vector<float>> sounds;
    for (std::size_t k = 0; k < players; ++k) {
        sounds.push_back(player(k + 1));
        sounds.back().resize(few);
    }
    Noise dice(5);
    std::vector<std::vector<float>> tracks;
    std::vector<double> spills;                  // the truth
    for (std::size_t m = 0; m <= players; ++m) { // the last one is the room's
        std::vector<Heard> own, others;
        for (std::size_t k = 0; k < players; ++k) {
            auto& parts = k == m ? own : others;
            parts.push_back({sounds[k], k == m ? 0.0 : -10.0, k == m ? 0 : 30 + 17 * ((k + 3 * m) % 7)});
            for (int echo = 0; echo < 15; ++echo) { // 60 dB in 0.4 s
                const double later = 0.2 * dice.uniform();
                parts.push_back({sounds[k], -22.0 - 150.0 * later, 200 + static_cast<std::size_t>(later * rate),
                                 dice.uniform() < 0.5 ? -1.0 : 1.0});
            }
        }
        const auto far = mixed(others, 30 + m);
        const auto near = m < players ? mixed(own, 20 + m) : std::vector<float>(few);
        spills.push_back(power(far) / (power(near) + power(far)));
        tracks.push_back(sum(near, far));
    }
    const auto map = mapOf(measured(tracks), {{0}, {1}, {2}});
    tracks.pop_back();
    const auto without = mapOf(measured(tracks), {{0}, {1}, {2}});
    for (std::size_t m = 0; m < players; ++m) {
        const auto track = static_cast<int>(m);
        REQUIRE(map.toldSpillShare(track));
        const double told = *map.toldSpillShare(track), own = at(map, track, track).shareOfTrack;
        double others = 0.0;
        for (int k = 0; k < static_cast<int>(players); ++k)
            if (k != track) others += at(map, k, track).shareOfTrack;
        INFO("track " << m << ", spill " << spills[m] << ", told " << told << ", own " << own << ", others " << others);
        CHECK(told == Approx(spills[m]).margin(0.03));
        CHECK(map.unexplained[m] > 0.002);
        CHECK(told > others);
        CHECK(told == Approx(others / (own + others)).margin(0.1 * map.unexplained[m]));
        // Nobody tells how much reverberation there is: what is missing may be the others'.
        CHECK(without.spillShare[m] == Approx(1.0 - at(without, track, track).shareOfTrack).margin(1e-9));
    }
}

TEST_CASE("sources that share no third octave are told apart exactly, though they only ever sound together") {
    const auto low = within(player(1, 7), 300, 650), middle = within(player(2, 7), 750, 1700),
               high = within(player(3, 7), 1900, 4300);
    const auto map = mapOf(measured({
                               mixed({{low}, {middle, -15, 30}, {high, -20, 45}}, 10, 1e-4),
                               mixed({{middle}, {low, -12, 35}, {high, -18, 50, -1}}, 11, 1e-4),
                               mixed({{high}, {low, -10, 60}, {middle, -14, 20}}, 12, 1e-4),
                           }),
                           {{0}, {1}, {2}});
    const double levels[3][3]{{0, -12, -10}, {-15, 0, -14}, {-20, -18, 0}};
    for (int source = 0; source < 3; ++source)
        for (int track = 0; track < 3; ++track) {
            INFO("source " << source << " in track " << track);
            REQUIRE(at(map, source, track).level);
            CHECK(at(map, source, track).level->value == Approx(levels[source][track]).margin(0.15));
        }
}

TEST_CASE("two sources that only ever sound together are not told apart in each other's track") {
    const auto first = player(1, 7), second = player(2, 7), third = player(3);
    const auto map = mapOf(measured({
                               mixed({{first}, {second, -12, 60}, {third, -20, 90}}, 10),
                               mixed({{second}, {first, -12, 50}, {third, -16, 70}}, 11),
                               mixed({{third}, {first, -12, 80}, {second, -10, 40}}, 12),
                           }),
                           {{0}, {1}, {2}});
    CHECK(at(map, 0, 1).whyNoLevel == Untold::alwaysTogether);
    CHECK(at(map, 1, 0).whyNoLevel == Untold::alwaysTogether);
    CHECK_FALSE(at(map, 0, 1).level);
    CHECK(at(map, 2, 0).whyNoLevel == Untold::told);
    CHECK(at(map, 2, 0).level->value == Approx(-20).margin(1.0));
    CHECK_FALSE(map.toldSpillShare(0)); // what of it is the second's is open
    CHECK_FALSE(map.toldSpillShare(1));
    CHECK(map.toldSpillShare(2));
    CHECK_FALSE(map.toldSpillShare(3)); // no such track
}

TEST_CASE("a level that is another while the source plays alone is not told") {
    // A microphone that is opened only while the others pause hears the first player there alone.
    const auto first = player(1);
    auto second = sum(player(2), hiss(4), 0.3), opened = first;
    for (std::size_t n = 0; n < first.size(); ++n) {
        const bool pause = n / static_cast<std::size_t>(2.5 * rate) % 6 == 5;
        if (pause) second[n] = 0.0f;
        opened[n] *= pause ? 1.0f : 0.02f;
    }
    const auto map = mapOf(measured({mixed({{first}, {second, -14, 60}}, 10), mixed({{second}, {first, -12, 50}}, 11),
                                     mixed({{opened}, {second, -6, 80}}, 12)}),
                           {{0}, {1}});
    CHECK(at(map, 0, 2).whyNoLevel == Untold::waysDisagree);
    CHECK_FALSE(at(map, 0, 2).level);
    CHECK(at(map, 0, 1).level->value == Approx(-12).margin(0.5));
    CHECK(at(map, 1, 2).level->value == Approx(-6).margin(0.5));
}

TEST_CASE("a third octave far above the usual level of a player in a track counts as another's sound") {
    struct Case {
        double louderDb, toldDb; // than in the other third octaves
    };
    const auto [louderDb, toldDb] = GENERATE(Case{6.0, 6.0}, Case{10.5, 4.5}, Case{14.0, 0.0});
    constexpr double usualDb = -10.0, centre = 1000.0;
    const auto first = player(1), second = player(2), third = within(first, 891.3, 1122.0);
    const double more = usualDb + 20.0 * std::log10(amplitudeOfDecibels(louderDb) - 1.0);
    const auto map = mapOf(measured({mixed({{first}}, 10), mixed({{second}}, 11),
                                     mixed({{first, usualDb}, {third, more}, {second, -20}}, 12)}),
                           {{0}, {1}});
    const auto& levels = at(map, 0, 2).levelByThirdOctave;
    REQUIRE(levels.size() == map.centres.size());
    int told = 0;
    for (std::size_t band = 0; band < levels.size(); ++band) {
        if (!levels[band] || map.centres[band].value > 6300.0) continue; // few bins, or half a band
        INFO(map.centres[band].value << " Hz");
        CHECK(levels[band]->value == Approx(usualDb + (map.centres[band].value == centre ? toldDb : 0.0)).margin(1.0));
        told += map.centres[band].value == centre ? 100 : 1;
    }
    CHECK(told > 105); // that one and others
}

TEST_CASE("a source that a track does not hold has no level there, and no arrival") {
    const auto first = player(1), second = player(2);
    const auto map = mapOf(measured({mixed({{first}}, 10), mixed({{second}, {first, -12, 50}}, 11)}), {{0}, {1}});
    const auto& absent = at(map, 1, 0);
    CHECK(absent.whyNoLevel == Untold::tooFaint);
    CHECK_FALSE(absent.level);
    CHECK_FALSE(absent.arrival);
    CHECK(absent.whyNoArrival == Untold::tooFaint);
    CHECK(absent.shareOfTrack < 0.001);
}

TEST_CASE("a silent track holds nothing, and a silent close track harms no other") {
    const auto first = player(1), second = player(2);
    const auto map = mapOf(measured({mixed({{first}, {second, -14, 60}}, 10), mixed({{second}, {first, -12, 50}}, 11),
                                     std::vector<float>(first.size())}),
                           {{0}, {1}, {2}});
    CHECK(at(map, 0, 1).level->value == Approx(-12).margin(0.3));
    CHECK(at(map, 1, 0).level->value == Approx(-14).margin(0.3));
    CHECK(at(map, 0, 2).whyNoLevel == Untold::tooFaint);
    CHECK(at(map, 2, 0).whyNoLevel == Untold::tooFaint);
    CHECK(at(map, 2, 2).whyNoLevel == Untold::tooFaint);
}

TEST_CASE("readings come source by source of usable tracks alone, in their order, and others leave the plan") {
    const auto& spectra = session().spectra;
    const auto map = mapOf(spectra, {{1, 0}, {2}}, {3, 0, 1});
    CHECK(map.plan == planOf({{1, 0}}));
    REQUIRE(map.readings.size() == 3);
    CHECK(map.readings[0].track == 3);
    CHECK(map.readings[1].track == 0);
    CHECK(map.readings[2].track == 1);
    CHECK(map.reading(0, 2) == nullptr);
    CHECK(std::isnan(map.spillShare[2]));
    CHECK(mapOf(spectra, {{2}}, {0, 1}).readings.empty());
    CHECK(mapOf(spectra, {}).readings.empty());
}

TEST_CASE("spectra of chosen stretches give no map") {
    const auto& spectra = session().spectra;
    Workers workers(1);
    const std::vector<float> weights(static_cast<std::size_t>(spectra.stretches()), 1.0f);
    CHECK(mapOf(spectra.restrictedTo(weights, workers), {{0}, {1}}).readings.empty());
}

TEST_CASE("a spill map that is asked to stop says so") {
    std::stop_source stop;
    stop.request_stop();
    Workers workers(2);
    const std::vector<int> usable{0, 1, 2, 3};
    const auto map = readSpillMap(session().spectra, planOf({{0}, {1}}), usable, {}, workers, {{}, stop.get_token()});
    REQUIRE_FALSE(map);
    CHECK(map.fault().kind == Fault::Kind::cancelled);
}

TEST_CASE("one worker reads the same spill map as two, to the last bit") {
    const auto& two = session().map;
    const auto one = mapOf(session().spectra, {{0}, {1}, {2}}, {}, 1);
    CHECK(one.responses == two.responses);
    CHECK(one.sourcePowers == two.sourcePowers);
    CHECK(one.presence == two.presence);
    CHECK(one.shareOfClose == two.shareOfClose);
    CHECK(one.shareByThirdOctave == two.shareByThirdOctave);
    for (std::size_t k = 0; k < one.readings.size(); ++k) {
        CHECK(one.readings[k].level == two.readings[k].level);
        CHECK(one.readings[k].arrival->delay == two.readings[k].arrival->delay);
    }
}

TEST_CASE("the spectra of one source read as a recording of it alone") {
    const auto& [first, second, third, spectra, map] = session();
    const auto alone = spectraOfSource(spectra, map, 1);
    const auto pair = readPair(alone, 0, 3, {});
    CHECK(pair.related);
    REQUIRE(pair.arrival);
    CHECK(pair.arrival->delay.value * rate == Approx(40).margin(1.0));
    CHECK(pair.polarity->polarity == Polarity::inverted);
    double inTrack = 0.0, truly = 0.0;
    const auto own = measured({mixed({{second, -9, 100}}, 1)});
    const auto range = binsWithin(sourceBand, spectra.binWidth(), spectra.binCount());
    for (int bin = range.firstBin; bin <= range.lastBin; ++bin) {
        inTrack += alone.power(bin, 3);
        truly += own.power(bin, 0);
    }
    CHECK(decibelsOfPower(inTrack / truly) == Approx(0.0).margin(0.3));
    CHECK(alone.power(range.firstBin - 1, 3) == 0.0);
    CHECK(alone.stretches() == 0);
}

TEST_CASE("a source's power by third octave is that of its close track, and presence goes with its strokes") {
    const auto& [first, second, third, spectra, map] = session();
    double sum = 0.0;
    for (const double one : map.powerByThirdOctave[0])
        sum += one;
    const auto range = binsWithin(sourceBand, spectra.binWidth(), spectra.binCount());
    const double part = (range.lastBin - range.firstBin + 1.0) / spectra.binCount(); // white
    CHECK(decibelsOfPower(sum / (part * power(first) / static_cast<double>(first.size()))) == Approx(0.0).margin(0.3));

    REQUIRE(map.times.size() == static_cast<std::size_t>(spectra.windows()));
    REQUIRE(map.presence[2].size() == map.times.size());
    std::vector<double> errors;
    const auto half = static_cast<std::size_t>(spectra.windowLength() / 2);
    for (std::size_t t = 0; t < map.times.size(); ++t) {
        double within = 0.0;
        for (std::size_t n = 0; n < 2 * half; ++n) {
            const double sample = static_cast<double>(third[t * half + n]);
            within +=
                std::pow(std::sin(3.14159265 * (static_cast<double>(n) + 0.5) / (2.0 * static_cast<double>(half))), 4) *
                sample * sample;
        }
        const double mean = power(third) / static_cast<double>(third.size()) * 0.375 * 2.0 * static_cast<double>(half);
        const double truth = decibelsOfPower(within / mean);
        if (truth > -10.0) errors.push_back(std::abs(truth - static_cast<double>(map.presence[2][t])));
    }
    std::sort(errors.begin(), errors.end());
    CHECK(errors[errors.size() / 2] < 0.3);
    CHECK(errors[errors.size() * 9 / 10] < 1.0);
}

TEST_CASE("a source leads where its close track holds hardly anything else") {
    const auto& map = session().map;
    const auto moments = leadingMoments(map, 0, 3);
    REQUIRE(!moments.empty());
    CHECK(moments.size() <= 3);
    for (const auto& moment : moments) {
        CHECK(moment.to - moment.from >= Seconds(1.0));
        bool leads = false;
        for (std::size_t t = 0; t < map.times.size(); ++t)
            if (map.times[t] > moment.from && map.times[t] < moment.to)
                leads = leads || (map.shareOfClose[0][t] >= 0.8f && map.presence[0][t] >= -6.0f);
        CHECK(leads);
    }
    CHECK(leadingMoments(map, 7).empty());
}
