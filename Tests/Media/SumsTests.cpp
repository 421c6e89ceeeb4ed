#include "Media/Sums.h"

#include "Media/AudioBytes.h"
#include "Media/Checksum.h"
#include "Media/FolderContent.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>
#include <ebur128.h>

#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t fourSeconds = 4 * 48000;

struct Measured {
    double loudness = 0.0, truePeakDb = 0.0;
    AudioFileInfo info;
};

/// As libebur128 reads the file that was written.
Measured measuredFile(const std::filesystem::path& file) {
    auto reader = AudioFileReader::open(file);
    REQUIRE(reader);
    Measured result;
    result.info = (*reader)->info();
    REQUIRE(result.info.channels == 2);
    std::vector<float> left(static_cast<std::size_t>(result.info.frames)), right(left), both(2 * left.size());
    float* const sides[] = {left.data(), right.data()};
    REQUIRE((*reader)->read(0, static_cast<int>(result.info.frames), sides));
    for (std::size_t n = 0; n < left.size(); ++n) {
        both[2 * n] = left[n];
        both[2 * n + 1] = right[n];
    }
    auto* state = ebur128_init(2, static_cast<unsigned long>(std::lround(result.info.sampleRate)),
                               EBUR128_MODE_I | EBUR128_MODE_TRUE_PEAK);
    REQUIRE(state);
    REQUIRE(ebur128_add_frames_float(state, both.data(), left.size()) == EBUR128_SUCCESS);
    REQUIRE(ebur128_loudness_global(state, &result.loudness) == EBUR128_SUCCESS);
    double peak = 0.0;
    for (unsigned channel = 0; channel < 2; ++channel) {
        double of = 0.0;
        REQUIRE(ebur128_true_peak(state, channel, &of) == EBUR128_SUCCESS);
        peak = std::max(peak, of);
    }
    ebur128_destroy(&state);
    result.truePeakDb = 20.0 * std::log10(peak);
    return result;
}

struct Rig {
    TemporaryFolder from, place;
    std::filesystem::path to = place / "sums";
    std::shared_ptr<const Recording> recording;
    std::vector<SumVersion> versions;
    SumsOptions options;

    explicit Rig(float level = 0.1f) {
        const auto common = noise(fourSeconds, 1, level);
        writeWav(from / "a.wav", mixed(common, noise(fourSeconds, 2, level / 4.0f)));
        writeWav(from / "b.wav", mixed(common, noise(fourSeconds, 3, level / 4.0f)));
        auto opened = Recording::open(from.path());
        REQUIRE(opened);
        recording = *opened;
        versions = {{"as recorded", std::vector<TrackAdjustment>(2)}, {"turned", std::vector<TrackAdjustment>(2)}};
        versions[1].adjustments[1].flip = true; // little is left of the sum
        options.to = to;
    }

    Result<SumsReport> attempt(const Watch& watch = {}) { return renderSums(*recording, versions, options, watch); }
    SumsReport rendered() {
        auto report = attempt();
        INFO((report ? std::string() : report.fault().line()));
        REQUIRE(report);
        return *report;
    }
};

} // namespace

TEST_CASE("sums are equally loud, as the quietest of them is, and say so") {
    Rig rig;
    const auto report = rig.rendered();
    CHECK(namesIn(rig.to) == std::vector<std::string>{"1 as recorded.wav", "2 turned.wav", "sums.txt"});
    REQUIRE(report.sums.size() == 2);
    const auto first = measuredFile(report.sums[0].file), second = measuredFile(report.sums[1].file);
    CHECK(first.loudness == Approx(second.loudness).margin(0.02)); // roundings to 24 bits, and gating blocks
    CHECK(report.sums[1].gainDb == 0.0);                           // the quietest
    CHECK(report.sums[0].gainDb < -6.0);
    const auto notes = contentOf(report.notes);
    for (const auto& [sum, measured] : {std::pair{report.sums[0], first}, {report.sums[1], second}}) {
        CHECK(*sum.loudness == Approx(measured.loudness).margin(0.005));
        CHECK(sum.truePeakDb == Approx(measured.truePeakDb).margin(0.005));
        CHECK(measured.info.bits == 24);
        CHECK_FALSE(measured.info.isFloat);
        CHECK(measured.info.frames == rig.recording->length());
        char words[64];
        std::snprintf(words, sizeof words, ": %.2f LUFS, %.2f dBTP, turned by %.2f dB\n", *sum.loudness, sum.truePeakDb,
                      sum.gainDb);
        CHECK(notes.find(sum.file.filename().string() + words) != std::string::npos);
        CHECK(notes.find(*sha256Of(sum.file, {}) + "  " + sum.file.filename().string() + "\n") != std::string::npos);
    }
    CHECK(notes.find("#   b: flipped\n") != std::string::npos);
}

TEST_CASE("no sum passes -1 dBTP, and all of them give way together") {
    Rig rig;
    rig.options.targetLufs = 0.0;
    const auto report = rig.rendered();
    double highest = -100.0;
    for (const auto& sum : report.sums) {
        const auto measured = measuredFile(sum.file);
        CHECK(measured.truePeakDb <= highestTruePeakDb + 0.001); // a rounding to 24 bits
        CHECK(measured.loudness == Approx(measuredFile(report.sums[0].file).loudness).margin(0.02));
        highest = std::max(highest, measured.truePeakDb);
    }
    CHECK(highest == Approx(highestTruePeakDb).margin(0.01)); // and no lower than needed
    REQUIRE(report.remarks.size() == 1);
    CHECK(report.remarks[0].find("at 0.0 LUFS a true peak would pass -1 dBTP; all are at -") == 0);

    rig.options.replace = true;
    rig.options.targetLufs = -35.0;
    const auto low = rig.rendered();
    CHECK(low.remarks.empty());
    for (const auto& sum : low.sums)
        CHECK(measuredFile(sum.file).loudness == Approx(-35.0).margin(0.02));
}

TEST_CASE("sums that would clip as they are do not") {
    Rig rig(0.6f); // clips where both are summed
    for (const auto& sum : rig.rendered().sums)
        CHECK(measuredFile(sum.file).truePeakDb <= highestTruePeakDb + 0.001);
}

TEST_CASE("a silent sum stays silent, and versions with odd names have files") {
    Rig rig;
    for (auto& adjustment : rig.versions[1].adjustments)
        adjustment.muted = true;
    rig.versions[1].name = "a/b: <\"c\"> ";
    rig.versions.push_back({std::string(80, 'x') + "\xC3\xA9" + std::string(200, '\xC3'), rig.versions[0].adjustments});
    rig.versions.push_back({"a/b: <\"c\"> ", rig.versions[0].adjustments}); // twice
    rig.versions.push_back({"", rig.versions[0].adjustments});
    const auto report = rig.rendered();
    const auto names = namesIn(rig.to);
    REQUIRE(names.size() == 6);
    CHECK(names[1] == "2 a-b- --c--.wav");
    CHECK(names[2].size() <= 120);
    CHECK(names[3] == "4 a-b- --c--.wav");
    CHECK(names[4] == "5 sum.wav");
    CHECK_FALSE(report.sums[1].loudness);
    CHECK(report.sums[1].gainDb == 0.0);
    CHECK(report.remarks == std::vector<std::string>{"a/b: <\"c\"> : is silent; it is written as it is"});
    CHECK(contentOf(report.notes).find("silent, turned by 0.00 dB") != std::string::npos);
}

TEST_CASE("sums are written whole or not at all, and never into the recording") {
    Rig rig;
    rig.options.to = rig.from.path();
    auto refused = rig.attempt();
    REQUIRE_FALSE(refused);
    CHECK(refused.fault().line().find("is the recording itself") != std::string::npos);
    CHECK(namesIn(rig.from.path()) == std::vector<std::string>{"a.wav", "b.wav"});

    rig.options.to = rig.to;
    for (double at : {0.1, 0.6, 1.0}) {
        std::stop_source stop;
        const auto stopped = rig.attempt({[&](double fraction) {
                                              if (fraction >= at) stop.request_stop();
                                          },
                                          stop.get_token()});
        REQUIRE_FALSE(stopped);
        CHECK(stopped.fault().kind == Fault::Kind::cancelled);
        CHECK_FALSE(std::filesystem::exists(rig.to));
    }
    rig.rendered();
    const auto before = contentOf(rig.to / "sums.txt");
    refused = rig.attempt();
    REQUIRE_FALSE(refused);
    CHECK(refused.fault().line().find("is there already") != std::string::npos);
    CHECK(contentOf(rig.to / "sums.txt") == before);
    rig.options.replace = true;
    rig.rendered();
    CHECK(contentOf(rig.to / "sums.txt") == before); // the same bytes

    putContent(rig.place / "file", "");
    rig.options.to = rig.place / "file";
    refused = rig.attempt();
    REQUIRE_FALSE(refused);
    CHECK(refused.fault().line() == (rig.place / "file").string() + ": is not a folder; name a folder");
}
