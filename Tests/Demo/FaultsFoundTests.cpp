// Scenes of our own in which something was wired or recorded wrongly. Where two microphones stand close to one source,
// what is proposed undoes it between the two; and the sum is never below that of the recording with everything put
// right by hand.

#include "Demo/DemoRecording.h"
#include "Media/Recording.h"
#include "Session/Measurement.h"
#include "Session/Setting.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <map>
#include <set>

using namespace spillwright;
namespace fs = std::filesystem;

namespace {

using Names = std::set<std::string>;

/// A scene that was recorded and measured, and what is known of it.
class Take {
public:
    explicit Take(const fs::path& scene) {
        const test::TemporaryFolder folder;
        if (const auto computed = computeDemo(scene, folder / "take", workers, {}); !computed)
            FAIL(computed.fault().line());
        const auto recording = Recording::open(folder / "take");
        REQUIRE(recording);
        measurement = measure("take", (*recording)->tracks(), **recording, {}, {}, workers, {});
        REQUIRE(measurement);
        truth = demoTruth(scene);
        REQUIRE(truth);
    }

    Names inverted() const {
        Names names;
        for (const auto& track : (*truth)["tracks"])
            if (track["inverted"].get<bool>()) names.insert(track["name"].get<std::string>());
        return names;
    }

    /// How much later the first hears the source than the second, faults included.
    double laterMs(const char* source, const char* first, const char* second) const {
        std::map<std::string, double> flight;
        for (const auto& path : (*truth)["paths"])
            if (path["source"] == source) flight[path["track"]] = path["flight_ms"];
        return flight.at(first) - flight.at(second);
    }

    NamedProposal proposed(Allow allow) {
        ProposeOptions options;
        options.rungs = {allow};
        auto proposals = makeProposals(*measurement, options, workers, {});
        if (!proposals) FAIL(proposals.fault().line());
        return proposals->proposals.front();
    }

    /// The summation gain with these tracks flipped, and each as much earlier as it was recorded late.
    double undoneDb(const Names& flips) const {
        std::map<std::string, double> late;
        for (const auto& track : (*truth)["tracks"])
            late[track["name"]] = 1e-3 * track["late_ms"].get<double>();
        std::vector<int> signs;
        std::vector<double> nudges;
        for (const int track : measurement->usable) {
            const auto& name = measurement->tracks[static_cast<std::size_t>(track)].name;
            signs.push_back(flips.count(name) ? -1 : 1);
            nudges.push_back(-late.at(name));
        }
        return decibelsOfPower(model().gain(signs, nudges));
    }

    double asRecordedDb() const {
        const auto tracks = measurement->usable.size();
        return decibelsOfPower(model().gain(std::vector<int>(tracks, 1), std::vector<double>(tracks, 0.0)));
    }

private:
    Workers workers;
    Result<Measurement> measurement = Fault{};
    Result<nlohmann::ordered_json> truth = Fault{};

    SummationModel model() const {
        return summationModel(*measurement, std::vector<TrackAdjustment>(measurement->tracks.size()), false);
    }
};

Take takeOf(const std::string& name) {
    return Take(fs::path(SPILLWRIGHT_SOURCE_DIR) / "Tests" / "Demo" / "Scenes" / (name + ".json"));
}

TrackAdjustment adjustmentOf(const std::string& name, const NamedProposal& proposal) {
    for (const auto& track : proposal.setting.tracks)
        if (track.track == name) return track.adjustment;
    throw std::runtime_error("no such track");
}

/// Whether one of the two is flipped and the other is not.
bool flipsApart(const char* first, const char* second, const NamedProposal& proposal) {
    return adjustmentOf(first, proposal).flip != adjustmentOf(second, proposal).flip;
}

} // namespace

TEST_CASE("a horn section: the one ribbon that is upside down is flipped against its neighbour", "[long]") {
    auto take = takeOf("horns");
    CHECK(take.inverted() == Names{"trombone ribbon"});
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto proposal = take.proposed(allow);
        CHECK_FALSE(flipsApart("trumpet", "trumpet ribbon", proposal));
        CHECK_FALSE(flipsApart("alto", "alto ribbon", proposal));
        CHECK(flipsApart("trombone", "trombone ribbon", proposal));
        const double undone =
            take.undoneDb(take.inverted()); // 0.01 dB as recorded, 2.87 undone, 3.23 and 4.47 proposed
        CHECK(undone > take.asRecordedDb() + 2.5);
        CHECK(proposal.summationGainDb > undone + 0.3);
    }
}

TEST_CASE("a drum kit: the microphone beneath the snare is flipped against the one above", "[long]") {
    auto take = takeOf("kit");
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto proposal = take.proposed(allow);
        CHECK(flipsApart("snare top", "snare bottom", proposal));
        CHECK(proposal.proven());
        const double undone =
            take.undoneDb({"snare bottom"}); // -2.36 dB as recorded, 0.93 undone, 2.05 and 3.73 proposed
        CHECK(undone > take.asRecordedDb() + 3.0);
        CHECK(proposal.summationGainDb > undone + 1.0);
    }
}

TEST_CASE("a piano trio: the one track that is late is brought forward to its neighbour", "[long]") {
    auto take = takeOf("trio");
    CHECK(take.inverted().empty());
    const auto proposal = take.proposed(Allow::nudges);
    const double between = take.laterMs("cello", "cello body", "cello bridge");
    CHECK(between == Approx(5.26).margin(0.01)); // 240 samples at 48 kHz and 9 cm
    CHECK_FALSE(flipsApart("cello body", "cello bridge", proposal));
    // At 562 Hz 0.1 ms is a third of a radian: between two tracks it costs 10 lg (1 - 0.5 (1 - cos 0.35)) = 0.13 dB at
    // most.
    CHECK(1e3 *
              (adjustmentOf("cello bridge", proposal).nudge.value - adjustmentOf("cello body", proposal).nudge.value) ==
          Approx(between).margin(0.1));
    const double undone = take.undoneDb({}); // -0.45 dB as recorded, 1.56 undone, 4.13 proposed
    CHECK(undone > take.asRecordedDb() + 1.5);
    CHECK(proposal.summationGainDb > undone + 2.0);
    CHECK(take.proposed(Allow::flips).summationGainDb < undone); // flips alone cannot mend it
}
