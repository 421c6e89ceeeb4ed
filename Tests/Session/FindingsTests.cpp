#include "Session/Findings.h"

#include "Support/MemorySource.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <algorithm>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t length = 8 * 48000;

std::vector<TrackInfo> lettered(std::size_t count) {
    std::vector<TrackInfo> tracks(count);
    for (std::size_t k = 0; k < count; ++k)
        tracks[k].name = tracks[k].file = std::string(1, static_cast<char>('a' + k));
    return tracks;
}

/// One source reaches every track at its own time; beside it each track has noise of its own.
std::vector<std::vector<float>> oneSource(const std::vector<int>& delays, unsigned seed) {
    std::vector<std::vector<float>> audio;
    for (std::size_t k = 0; k < delays.size(); ++k)
        audio.push_back(
            mixed(delayed(noise(length, seed), delays[k]), noise(length, seed + 1 + static_cast<unsigned>(k), 0.1f)));
    return audio;
}

Measurement measured(std::vector<std::vector<float>> audio) {
    Workers workers(2);
    const auto tracks = lettered(audio.size());
    auto m = measure("folder", tracks, MemorySource(std::move(audio)), {}, {}, workers, {});
    REQUIRE(m.ok());
    return std::move(m).value();
}

} // namespace

TEST_CASE("tracks of one source are told as one set, and nothing is warned of") {
    const auto m = measured(oneSource({0, 100, 250, 33}, 10));
    REQUIRE(m.consistency.sets.size() == 1);
    CHECK(m.warnings.empty());
    const auto json = measurementToJson(m);
    CHECK(json["triangles"]["asked"] == 4);
    CHECK(json["triangles"]["sets"][0]["tracks"] == std::vector<std::string>{"a", "b", "c", "d"});
    const auto& ab = json["pairs"][0];
    CHECK(ab["closesTriangles"] == true);
    CHECK(ab["arrivalFitted_ms"].get<double>() == Approx(100.0 / 48.0).margin(0.001));
    CHECK(ab["arrivalFittedUncertainty_ms"].get<double>() > 0.0);
    CHECK(ab["arrivalFittedUncertainty_ms"].get<double>() <= 1.001 * ab["arrivalUncertainty_ms"].get<double>());
    // 100 samples are 0.715 m; the speed of sound is known to 0.27 %.
    CHECK(ab["distanceUncertainty_m"].get<double>() == Approx(0.715 * 0.0027).margin(0.0004));
}

TEST_CASE("pairs that two sources rule are told of in one line, and have no fitted arrival") {
    // b and c share a second source that is louder than the first in both, so the triangle a, b, c misses by 3 ms.
    auto audio = oneSource({0, 100, 250}, 20);
    const auto second = noise(length, 99, 0.25f);
    audio[1] = mixed(audio[1], second);
    audio[2] = mixed(audio[2], delayed(second, 300));
    const auto m = measured(audio);
    REQUIRE(m.consistency.triangles == 1);
    CHECK(m.warnings == std::vector<std::string>{"arrivals: 0 of 1 triangle closes; other pairs hear different sources "
                                                 "first, so take their arrivals pair by pair"});
    const auto json = measurementToJson(m);
    for (const auto& pair : json["pairs"]) {
        CHECK(pair["arrivalFitted_ms"].is_null());
        CHECK(pair["closesTriangles"] == false);
    }
}

TEST_CASE("two tracks have no triangle: null, not false") {
    const auto json = measurementToJson(measured(oneSource({0, 100}, 30)));
    CHECK(json["pairs"][0]["closesTriangles"].is_null());
    CHECK(json["pairs"][0]["arrivalFitted_ms"].is_null());
    CHECK(json["triangles"]["asked"] == 0);
}

TEST_CASE("a microphone that was moved and a clock that parts are told of in one line each, with what to do") {
    // Delays of whole samples, 15 stretches: b is moved by 20 samples at 20 s; d loses a sample every 5 s: 4.17 ppm.
    constexpr std::size_t whole = 60 * 48000;
    const auto source = noise(whole, 40);
    std::vector<std::vector<float>> audio;
    for (unsigned track = 0; track < 5; ++track) {
        auto heard = noise(whole, 41 + track, 0.05f);
        for (std::size_t n = 1000; n < whole; ++n) {
            std::size_t late = 50 * track;
            if (track == 1 && n >= 20 * 48000) late += 20;
            if (track == 3) late += n / (5 * 48000);
            heard[n] += source[n - late];
        }
        audio.push_back(std::move(heard));
    }
    const auto m = measured(std::move(audio));
    REQUIRE(m.warnings.size() == 2);
    CHECK(m.warnings[0].find("d: clock is 4.") == 0);
    CHECK(m.warnings[0].find(" ppm fast (+-0.") != std::string::npos);
    CHECK(m.warnings[0].find("; resample by a factor of 0.99999") != std::string::npos);
    CHECK(m.warnings[1].find("b: moved at about 0:") == 0);
    CHECK(m.warnings[1].find("(arrival +0.42 ms against ") != std::string::npos); // 20 samples at 48 kHz
    CHECK(m.warnings[1].find("; measure before and after apart") != std::string::npos);
    const auto json = measurementToJson(m);
    CHECK(json["stability"]["otherClocks"][0]["tracks"] == std::vector<std::string>{"d"});
    CHECK(json["stability"]["otherClocks"][0]["driftPpm"].get<double>() == Approx(1e6 / (5 * 48000)).margin(0.3));
    CHECK(json["stability"]["moved"][0]["track"] == "b");
    CHECK(json["stability"]["moved"][0]["time_s"].get<double>() == Approx(20.0).margin(5.1));
    CHECK(json["pairs"][0]["movement"] == "steps");
    CHECK(json["pairs"][0]["holdsStill"] == false);
    CHECK(json["pairs"][1]["movement"] == "still");
    CHECK(json["pairs"][1]["driftPpm"].get<double>() == Approx(0.0).margin(0.05));
    CHECK(json["pairs"][2]["movement"] == "drifts");
}

TEST_CASE("of a recording too short to tell, movement is null and not still") {
    const auto json = measurementToJson(measured({noise(48000, 60), noise(48000, 60)}));
    CHECK(json["stability"].is_null());
    for (const char* field : {"movement", "holdsStill", "driftPpm", "driftPpmUncertainty", "step_ms"})
        CHECK(json["pairs"][0][field].is_null());
}
