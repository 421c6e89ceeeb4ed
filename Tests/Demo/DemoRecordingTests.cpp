#include "Demo/DemoRecording.h"

#include "Core/Scene/SceneSound.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Demo/Players.h"
#include "Media/Recording.h"
#include "SmallScene.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <map>
#include <set>

using namespace spillwright;
using nlohmann::json;
namespace fs = std::filesystem;

namespace {

fs::path written(const test::TemporaryFolder& folder, const json& scene) {
    const fs::path file = folder / "scene.json";
    std::ofstream(file) << scene.dump();
    return file;
}

/// Everything in a folder, hidden files too, with the bytes of the files.
std::map<std::string, std::string> contents(const fs::path& folder) {
    std::map<std::string, std::string> result;
    for (const auto& entry : fs::directory_iterator(folder)) {
        auto& bytes = result[entry.path().filename().string()];
        if (!entry.is_regular_file()) continue;
        std::ifstream file(entry.path(), std::ios::binary);
        bytes = {std::istreambuf_iterator<char>(file), {}};
    }
    return result;
}

std::vector<std::vector<float>> tracksOf(const fs::path& folder) {
    const auto recording = Recording::open(folder);
    REQUIRE(recording);
    std::vector<std::vector<float>> tracks((*recording)->tracks().size());
    for (int group = 0; group < static_cast<int>((*recording)->groups().size()); ++group) {
        auto reader = (*recording)->openGroup(group);
        REQUIRE(reader);
        std::vector<float*> into;
        for (int track : (*recording)->groups()[static_cast<std::size_t>(group)]) {
            auto& samples = tracks[static_cast<std::size_t>(track)];
            samples.resize(static_cast<std::size_t>((*recording)->length()));
            into.push_back(samples.data());
        }
        REQUIRE((*reader)->read(0, static_cast<int>((*recording)->length()), into));
    }
    return tracks;
}

/// How far the cross-phase of two tracks repeats from stretch to stretch, in standard deviations of chance: the mean
/// over the bins of q = (|sum of phases|^2 - n) / (n (n - 1)), weighted by 1/f, 60 Hz to 8 kHz; neighbouring bins of a
/// Hann window share 4/9 and 1/36.
double phaseAgreement(const std::vector<float>& a, const std::vector<float>& b, double rate) {
    constexpr int size = 16384;
    constexpr int stretches = 8;
    const auto transform = Fourier::ofLength(size);
    const auto bins = static_cast<std::size_t>(transform->binCount());
    const std::size_t stretch = a.size() / stretches;
    std::vector<std::complex<double>> sums(bins);
    AlignedVector<float> signal(size);
    AlignedVector<std::complex<float>> first(bins), second(bins);
    const auto spectrum = [&](const std::vector<float>& x, std::size_t start, auto& into) {
        for (std::size_t n = 0; n < size; ++n)
            signal[n] = x[start + n] *
                        static_cast<float>(0.5 - 0.5 * std::cos(6.283185307179586 * static_cast<double>(n) / size));
        transform->forward(signal.data(), into.data());
    };
    for (std::size_t k = 0; k < stretches; ++k) {
        std::vector<std::complex<double>> cross(bins);
        for (std::size_t start = k * stretch; start + size <= (k + 1) * stretch; start += size / 2) {
            spectrum(a, start, first);
            spectrum(b, start, second);
            for (std::size_t bin = 0; bin < bins; ++bin)
                cross[bin] += std::complex<double>(first[bin]) * std::conj(std::complex<double>(second[bin]));
        }
        for (std::size_t bin = 0; bin < bins; ++bin)
            sums[bin] += cross[bin] / std::abs(cross[bin]);
    }
    double total = 0.0, q = 0.0, variance = 0.0;
    const auto weight = [&](std::size_t bin) {
        const double hz = static_cast<double>(bin) * rate / size;
        return hz >= 60.0 && hz <= 8000.0 ? 1.0 / hz : 0.0;
    };
    const double pairs = stretches * (stretches - 1);
    for (std::size_t bin = 0; bin + 2 < bins; ++bin) {
        const double w = weight(bin);
        total += w;
        q += w * (std::norm(sums[bin]) - stretches) / pairs;
        variance += (w * w + 2.0 * (4.0 / 9.0) * w * weight(bin + 1) + 2.0 / 36.0 * w * weight(bin + 2)) / pairs;
    }
    return (q / total) / (std::sqrt(variance) / total);
}

} // namespace

TEST_CASE("the demo sessions that came along are read without fault") {
    const auto sessions = demoSessions();
    REQUIRE_FALSE(sessions.empty());
    for (const auto& session : sessions) {
        CAPTURE(session.name);
        const auto scene = readSceneFile(session.sceneFile);
        CHECK((scene ? std::string() : scene.fault().line()) == "");
        CHECK(session.name == session.sceneFile.stem().string());
        if (scene) CHECK(session.title == scene->title);
    }
    CHECK(std::is_sorted(sessions.begin(), sessions.end(), [](auto& a, auto& b) { return a.name < b.name; }));
}

TEST_CASE("a demo has the same bytes each time, for any number of workers") {
    const test::TemporaryFolder folder;
    const fs::path scene = written(folder, test::smallScene());
    Workers one(1), three(3);
    REQUIRE(computeDemo(scene, folder / "a", one, {}));
    REQUIRE(computeDemo(scene, folder / "b", three, {}));
    const auto a = contents(folder / "a");
    CHECK(a.size() == 4);
    CHECK(a == contents(folder / "b"));
    // A seed that is another one changes the noise: the comparison would have seen it.
    json other = test::smallScene();
    other["seed"] = 4;
    REQUIRE(computeDemo(written(folder, other), folder / "c", one, {}));
    CHECK_FALSE(a == contents(folder / "c"));
}

TEST_CASE("the parts of the sources and the microphones' noise add up to the files") {
    const test::TemporaryFolder folder;
    Workers workers(2);
    REQUIRE(computeDemo(written(folder, test::smallScene()), folder / "demo", workers, {}));
    const auto tracks = tracksOf(folder / "demo");
    REQUIRE(tracks.size() == 5);

    const auto file = readScene(test::smallScene().dump(), "FILE");
    REQUIRE(file);
    const auto parts = playParts(*file, workers, {});
    REQUIRE(parts);
    const SceneSound sound(file->scene, *parts, workers);
    for (std::size_t track = 0; track < tracks.size(); ++track) {
        REQUIRE(tracks[track].size() == 72000);
        auto sum = sound.selfNoise(static_cast<int>(track));
        for (int source = 0; source < 4; ++source) {
            const auto part = sound.part(source, static_cast<int>(track));
            for (std::size_t n = 0; n < sum.size(); ++n)
                sum[n] += part[n];
        }
        double worst = 0.0;
        for (std::size_t n = 0; n < sum.size(); ++n)
            worst = std::max(worst, static_cast<double>(std::abs(sum[n] - tracks[track][n])));
        // Half a step of 24 bits, one in 2^23 between full scales of readers, and the transforms' -110 dB.
        CHECK(worst < 3e-6);
    }
}

TEST_CASE("a demo goes into an empty or a new folder, whole or not at all") {
    const test::TemporaryFolder folder;
    const fs::path scene = written(folder, test::smallScene());
    Workers workers(2);

    SECTION("deep below folders that are not there yet, an ending slash and all") {
        CHECK(computeDemo(scene, (folder / "x" / "y" / "").string(), workers, {}));
        CHECK(contents(folder / "x/y").size() == 4);
        CHECK(contents(folder / "x").size() == 1); // nothing is left beside it
    }
    SECTION("an empty folder") {
        fs::create_directory(folder / "empty");
        CHECK(computeDemo(scene, folder / "empty", workers, {}));
        CHECK(contents(folder / "empty").size() == 4);
    }
    SECTION("not a folder with something in it, which stays as it was") {
        fs::create_directory(folder / "full");
        std::ofstream(folder / "full/mine.txt") << "mine";
        const auto computed = computeDemo(scene, folder / "full", workers, {});
        REQUIRE_FALSE(computed);
        CHECK(computed.fault().what == "this folder is not empty");
        CHECK(contents(folder / "full") == std::map<std::string, std::string>{{"mine.txt", "mine"}});
    }
    SECTION("not a file") {
        const auto computed = computeDemo(scene, scene, workers, {});
        REQUIRE_FALSE(computed);
        CHECK(computed.fault().what == "is a file");
    }
    SECTION("nothing stays when it is stopped, at the beginning or between the parts and the room") {
        for (double at : {0.0, 0.3}) {
            std::stop_source stop;
            Watch watch{[&](double done) {
                            if (done >= at) stop.request_stop();
                        },
                        stop.get_token()};
            if (at == 0.0) stop.request_stop();
            const auto computed = computeDemo(scene, folder / "stopped", workers, watch);
            REQUIRE_FALSE(computed);
            CHECK(computed.fault().kind == Fault::Kind::cancelled);
            CHECK(contents(folder.path()).size() == 1);
        }
    }
    SECTION("nothing stays when a track would clip, which is told") {
        json loud = test::smallScene();
        loud["microphones"][3]["gain_dB"] = 60;
        const auto computed = computeDemo(written(folder, loud), folder / "loud", workers, {});
        REQUIRE_FALSE(computed);
        CHECK(computed.fault().what == "track 'tune' passes full scale");
        CHECK(contents(folder.path()).size() == 1);
    }
}

TEST_CASE("the truth says what was done and what follows from it") {
    const test::TemporaryFolder folder;
    const auto truth = demoTruth(written(folder, test::smallScene()));
    REQUIRE(truth);
    REQUIRE((*truth)["tracks"].size() == 5);
    CHECK((*truth)["tracks"][0]["inverted"] == true);
    CHECK((*truth)["tracks"][2]["late_ms"] == 2.0);
    CHECK((*truth)["tracks"][3]["highPass_Hz"] == 100.0);
    CHECK((*truth)["tracks"][2]["file"] == "02 pair.wav");
    CHECK((*truth)["tracks"][2]["channel"] == 1);

    std::map<std::pair<std::string, std::string>, json> paths;
    for (const auto& path : (*truth)["paths"])
        paths[{path["source"], path["track"]}] = path;
    CHECK(paths.size() == 3 * 4 + 1); // the guitar is in its own track alone
    CHECK(paths.count({"guitar", "dub"}) == 1);

    // Kick at (1, 1, 0.3): 0.2 m to its own microphone, sqrt(1 + 4 + 1.7^2) m to the pair's left, at 343.2 m/s.
    const auto& own = paths[{"kick", "kick"}];
    CHECK(own["arrival_ms"] == 0.0);
    CHECK(own["polarity"] == 1);
    CHECK(own["sign"] == -1);
    CHECK(own["level_dB"] == 0.0);
    const auto& left = paths[{"kick", "pair L"}];
    const double way = std::sqrt(1.0 + 4.0 + 1.7 * 1.7);
    CHECK(left["distance_m"].get<double>() == Approx(way).margin(1e-6));
    CHECK(left["arrival_ms"].get<double>() == Approx((way - 0.2) / 0.3432).margin(2e-6));
    CHECK(left["polarity"] == -1); // the close track is upside down
    CHECK(left["sign"] == 1);
    CHECK(left["level_dB"].get<double>() < 0.0);
    const auto& right = paths[{"kick", "pair R"}];
    const double further = std::sqrt(4.0 + 4.0 + 1.7 * 1.7);
    CHECK(right["arrival_ms"].get<double>() == Approx((further - 0.2) / 0.3432 + 2.0).margin(2e-6));
    // The figure of eight looks away from the hall: what comes from behind is upside down, like the kick's own track.
    CHECK(paths[{"tune", "tune"}]["sign"] == 1);
    CHECK(paths[{"kick", "tune"}]["sign"] == -1);
    CHECK(paths[{"kick", "tune"}]["polarity"] == 1);
    CHECK(paths[{"hat", "tune"}]["polarity"].is_null()); // no close track to compare with

    // In the nearly free field of the booth all that is heard is the direct sound: 0.4 m, 1 / (4 pi 0.4).
    CHECK(paths[{"guitar", "dub"}]["direct_dB"].get<double>() ==
          Approx(20.0 * std::log10(1.0 / (1.6 * 3.14159265))).margin(1e-3));
    for (const auto& source : (*truth)["sources"])
        if (source["name"] == "guitar") CHECK(source["lead_s"].get<double>() > 1.0);
}

TEST_CASE("the first demo is a session worth working on", "[long]") {
    const auto sessions = demoSessions();
    REQUIRE_FALSE(sessions.empty());
    const fs::path scene = sessions.front().sceneFile;
    const test::TemporaryFolder folder;
    Workers workers;
    REQUIRE(computeDemo(scene, folder / "demo", workers, {}));
    const auto recording = Recording::open(folder / "demo");
    REQUIRE(recording);
    CHECK((*recording)->warnings().empty());
    CHECK((*recording)->sampleRate() == 48000.0);
    CHECK((*recording)->length() == 40 * 48000);
    const auto truth = demoTruth(scene);
    REQUIRE(truth);

    const auto& infos = (*recording)->tracks();
    REQUIRE(infos.size() >= 16);
    REQUIRE(infos.size() == (*truth)["tracks"].size());
    std::map<std::string, std::size_t> byName;
    int linked = 0;
    for (std::size_t n = 0; n < infos.size(); ++n) {
        byName[infos[n].name] = n;
        CHECK(infos[n].name == (*truth)["tracks"][n]["name"].get<std::string>()); // the truth is found by name
        linked += infos[n].linkedTo.has_value() ? 1 : 0;
    }
    CHECK(linked >= 2);
    int inverted = 0, late = 0;
    for (const auto& track : (*truth)["tracks"]) {
        inverted += track["inverted"].get<bool>() ? 1 : 0;
        late += track["late_samples"].get<int>() != 0 ? 1 : 0;
    }
    CHECK(inverted >= 2);
    CHECK(late >= 1);

    const auto tracks = tracksOf(folder / "demo");
    for (std::size_t n = 0; n < tracks.size(); ++n) {
        CAPTURE(infos[n].name);
        float peak = 0.0f;
        for (float sample : tracks[n])
            peak = std::max(peak, std::abs(sample));
        CHECK(20.0 * std::log10(static_cast<double>(peak)) < -3.0);
        CHECK(20.0 * std::log10(static_cast<double>(peak)) > -20.0);
        // Nowhere digitally silent: every tenth of a second has something in it.
        bool alive = true;
        for (std::size_t start = 0; start + 4800 <= tracks[n].size(); start += 4800)
            alive = alive && std::any_of(tracks[n].begin() + static_cast<std::ptrdiff_t>(start),
                                         tracks[n].begin() + static_cast<std::ptrdiff_t>(start + 4800),
                                         [](float s) { return s != 0.0f; });
        CHECK(alive);
    }

    std::set<std::string> rooms;
    for (const auto& source : (*truth)["sources"]) {
        CAPTURE(source.dump());
        rooms.insert(source["room"]);
        if (!source["leadClose_s"].is_null()) CHECK(source["leadClose_s"].get<double>() >= 2.0);
    }
    CHECK(rooms.size() == 2);

    // The overdub shares nothing with the others, while two microphones of the band do.
    for (const auto& track : (*truth)["tracks"]) {
        if (track["room"] != (*truth)["tracks"].back()["room"]) {
            CAPTURE(track["name"]);
            CHECK(std::abs(phaseAgreement(tracks[byName[track["name"]]], tracks.back(), 48000.0)) < 3.0);
        }
    }
    CHECK(phaseAgreement(tracks[0], tracks[byName["fiddle"]], 48000.0) > 10.0);
}
