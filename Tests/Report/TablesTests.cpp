#include "Report/Tables.h"

#include "Support/HeardBand.h"
#include "Support/MemorySource.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <sstream>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::vector<std::string> lines(const std::string& text) {
    std::istringstream stream(text);
    std::vector<std::string> result;
    for (std::string line; std::getline(stream, line);)
        result.push_back(line);
    return result;
}

std::string lineWith(const std::string& text, const std::string& words) {
    for (const auto& line : lines(text))
        if (line.find(words) != std::string::npos) return line;
    return "";
}

struct Tables {
    Workers workers{1};
    Measurement measurement;

    Tables() {
        constexpr std::size_t length = 6 * 48000;
        std::vector<TrackInfo> tracks(4);
        tracks[0].name = "Flügel";
        tracks[1].name = "pauke";
        tracks[2].name = "elsewhere";
        tracks[3].name = tracks[3].file = "torn";
        tracks[3].state = TrackState::unreadable;
        tracks[3].why = "not an audio file";
        const MemorySource source(
            {noise(length, 1), delayed(noise(length, 1), 96, -1.0f), noise(length, 2), std::vector<float>(length)},
            48000.0, {{0}, {1}, {2}});
        auto m = measure("a hall", tracks, source, {}, {}, workers, {});
        REQUIRE(m.ok());
        measurement = std::move(m).value();
    }
};

} // namespace

TEST_CASE("the measurement's tables say in words what was found") {
    Tables tables;
    const auto text = measurementTable(tables.measurement);
    CHECK(text.find("a hall: 4 tracks, 48000 Hz, 0.00 to 6.00 s") == 0);
    CHECK(lineWith(text, "torn").find("unreadable: not an audio file") != std::string::npos);
    const auto pair = lineWith(text, "Flügel / pauke");
    CHECK(pair.find("+2.000 ms") != std::string::npos); // 96 samples at 48 kHz
    CHECK(pair.find("(+96.0 smp)") != std::string::npos);
    CHECK(pair.find("inverted") != std::string::npos);
    // 2 ms at 343.2 m/s; 0.27 % of it for the speed of sound.
    CHECK(pair.find("+0.686 ±0.002 m") != std::string::npos);
    CHECK(text.find("2 pairs are unrelated.") != std::string::npos);
}

TEST_CASE("columns stand under their heads though names hold umlauts") {
    Tables tables;
    const auto text = measurementTable(tables.measurement);
    const auto head = lineWith(text, "level dBFS");
    const auto place = head.find("level dBFS") + std::string("level dBFS").size();
    CHECK(lineWith(text, "pauke").substr(0, place).back() != ' ');
    CHECK(lineWith(text, "Flügel").substr(0, place + 1).back() != ' '); // one byte more than columns
}

TEST_CASE("the proposals' table says what each change is worth") {
    Tables tables;
    const auto proposals = makeProposals(tables.measurement, {}, tables.workers, {});
    REQUIRE(proposals.ok());
    const auto text = proposalsTable(*proposals, tables.measurement);
    CHECK(text.find("as recorded: summation gain ") == 0);
    CHECK(text.find("flips, rank 1: ") != std::string::npos);
    CHECK(text.find("proven: nothing within the limits is better") != std::string::npos);
    CHECK(text.find("nudge to ") != std::string::npos);
    CHECK(text.find("smp)") != std::string::npos);
}

TEST_CASE("the sources' tables say where each is heard, what goes in first, who can help and what the spacing does") {
    HeardBand band;
    const auto text = measurementTable(band.measured);
    const auto after = [&](const std::string& heading) {
        const auto place = text.find(heading);
        REQUIRE(place != std::string::npos);
        return text.substr(place);
    };
    const auto heard = lines(after("sources and where they are heard"));
    const auto row = [&](const std::vector<std::string>& all, const std::string& first, const std::string& then) {
        for (const auto& line : all)
            if (line.find(first) == 0 && line.find(then, first.size()) != std::string::npos) return line;
        return std::string();
    };
    CHECK(row(heard, "ride", "its close track").find("+0.0") != std::string::npos);
    const auto spilled = row(heard, "ride     trumpet", "same");
    INFO(text);
    CHECK(spilled.find("-8.") != std::string::npos);
    CHECK(spilled.find("+3.00 ms") != std::string::npos);
    CHECK(after("order of entry").find("1  far ") != std::string::npos);
    CHECK(after("who can help").find("flip, nudge ") != std::string::npos);
    CHECK(after("spacing:").find("trumpet hears ride at -8.") != std::string::npos);
    CHECK(text.find("trumpet leads at 0:") != std::string::npos);

    Workers workers{1};
    const auto focused = focusOn(band.measured, 2, workers, {});
    REQUIRE(focused.ok());
    CHECK(measurementTable(*focused).find("\nride alone:\n") != std::string::npos);
    const auto proposals = makeProposals(*focused, {}, workers, {});
    REQUIRE(proposals.ok());
    CHECK(proposalsTable(*proposals, *focused).find("of ride alone\n") == 0);
}
