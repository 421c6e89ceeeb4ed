#include "Cli/CommandLine.h"

#include "Support/SpillingBand.h"
#include "Support/TemporaryFolder.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <cmath>
#include <fstream>
#include <limits>
#include <numbers>
#include <sstream>

using namespace spillwright;
using namespace spillwright::test;
using nlohmann::json;

namespace {

struct Answer {
    int status = 0;
    std::string out;
    std::string err;
    json parsed() const { return json::parse(out); }
    /// Exactly one line on standard error, of the form "spillwright-cli: WHERE: WHAT; MEND".
    bool oneLine() const {
        return std::count(err.begin(), err.end(), '\n') == 1 && err.find("spillwright-cli: ") == 0 &&
               err.find("; ") != std::string::npos;
    }
};

Answer call(std::vector<std::string> words, const std::filesystem::path& cache = {}) {
    std::ostringstream out, err;
    Answer answer;
    answer.status = runCommandLine(words, out, err, cache);
    answer.out = out.str();
    answer.err = err.str();
    return answer;
}

std::string contentOf(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

constexpr std::size_t sixSeconds = 6 * 48000;

/// Four tracks in one room and one from elsewhere: b upside down and 96 samples late, c late, e unrelated.
void writeBand(const TemporaryFolder& folder) {
    const auto common = noise(sixSeconds, 1);
    writeWav(folder / "01 a.wav", mixed(common, noise(sixSeconds, 2, 0.02f)));
    writeWav(folder / "02 b.wav", mixed(delayed(common, 96, -0.8f), noise(sixSeconds, 3, 0.02f)));
    writeWav(folder / "03 c.wav", mixed(delayed(common, 48, 0.9f), noise(sixSeconds, 4, 0.02f)));
    writeWav(folder / "04 d.wav", mixed(delayed(common, 0, 0.7f), noise(sixSeconds, 5, 0.02f)));
    writeWav(folder / "10 e.wav", noise(sixSeconds, 6));
}

const json& pairOf(const json& measurement, const std::string& first, const std::string& second) {
    for (const auto& pair : measurement["pairs"])
        if (pair["first"] == first && pair["second"] == second) return pair;
    throw std::runtime_error("no such pair");
}

} // namespace

TEST_CASE("what is measured a second time is taken from the cache, and says the same") {
    TemporaryFolder folder, cache;
    writeBand(folder);
    const auto entries = [&] {
        return std::distance(std::filesystem::directory_iterator(cache.path()), std::filesystem::directory_iterator());
    };
    const std::vector<std::string> words{"measure", folder.path().string(), "--json", "-"};
    auto reading = words;
    reading.push_back("--no-cache");
    const auto uncached = call(reading, cache.path());
    CHECK(entries() == 0);
    const auto first = call(words, cache.path());
    CHECK(entries() == 1);
    const auto again = call(words, cache.path());
    REQUIRE(first.status == 0);
    CHECK(first.out == uncached.out);
    CHECK(again.out == first.out);
    CHECK(again.err == first.err);
    // A cache that was damaged changes no answer, and is written anew.
    const auto kept = std::filesystem::directory_iterator(cache.path())->path();
    const auto whole = contentOf(kept);
    auto damaged = whole;
    damaged[whole.size() / 3] = static_cast<char>(damaged[whole.size() / 3] ^ 0x40);
    for (const auto& content : {damaged, whole.substr(0, whole.size() / 2), std::string(), std::string("a text")}) {
        writeBytes(kept, content);
        const auto fresh = call(words, cache.path());
        CHECK(fresh.status == 0);
        CHECK(fresh.out == first.out);
        CHECK(fresh.err == first.err);
        CHECK((contentOf(kept) == whole));
    }
    // Another band is another question of the same spectra.
    auto band = words;
    band.insert(band.end(), {"--band", "100:400"});
    CHECK(call(band, cache.path()).status == 0);
    CHECK(entries() == 1);
}

TEST_CASE("measure tells arrival, polarity and what is unrelated, in the fields that scripts rely on") {
    TemporaryFolder folder;
    writeBand(folder);
    const auto answer = call({"measure", folder.path().string(), "--json", "-"});
    REQUIRE(answer.status == 0);
    const auto m = answer.parsed();
    CHECK(m["format"] == "spillwright/measurement");
    CHECK(m["version"] == 1);
    CHECK(m["sampleRate_Hz"] == 48000.0);
    CHECK(m["from_s"] == 0.0);
    CHECK(m["to_s"] == 6.0);
    CHECK(m["band_Hz"] == json({178, 562}));
    CHECK(m["source"].is_null());
    CHECK(m["temperature_C"] == 20.0);
    CHECK(m["spill"].size() == m["sources"].size() * 5); // each source in each track
    REQUIRE(m["tracks"].size() == 5);
    const std::string names[] = {"a", "b", "c", "d", "e"};
    for (std::size_t i = 0; i < 5; ++i) {
        const auto& track = m["tracks"][i];
        CHECK(track["name"] == names[i]);
        CHECK(track["channel"] == 0);
        CHECK(track["linkedTo"].is_null());
        CHECK(track["state"] == "ok");
        CHECK(track["clippedSamples"] == 0);
        CHECK(track["offset_dBFS"].is_null());
        CHECK(track["resampledFrom_Hz"].is_null());
        CHECK(track.contains("spillShare"));
        CHECK(track["spillShare"].is_null()); // steady noises are always together
    }
    CHECK(m["tracks"][0]["file"] == "01 a.wav");
    CHECK(m["tracks"][4]["level_dBFS"].get<double>() == Approx(-20.0).margin(0.05)); // rms 0.1 by construction
    REQUIRE(m["pairs"].size() == 10);

    const auto& ab = pairOf(m, "a", "b");
    CHECK(ab["related"] == true);
    CHECK(ab["polarity"] == -1);
    CHECK(ab["polarityConfidence"].get<double>() > 0.8);
    CHECK(ab["arrival_ms"].get<double>() == Approx(2.0).margin(0.0005)); // 96 samples at 48 kHz
    CHECK(ab["arrivalInBand_ms"].get<double>() == Approx(2.0).margin(0.02));
    CHECK(ab["distance_m"].get<double>() == Approx(0.6864).margin(0.0005)); // 2 ms at 343.2 m/s (ISO 9613-1, 20 °C)
    CHECK(ab["arrivalUncertainty_ms"].get<double>() > 0.0);
    CHECK(ab["coherence"].get<double>() > 0.9);
    CHECK(ab["summationGain_dB"].get<double>() < ab["summationGainFlipped_dB"].get<double>() + 6.0);
    CHECK(ab["coherenceByThirdOctave"].size() >= 10);
    CHECK(ab["coherenceByThirdOctave"][0].contains("centre_Hz"));
    const auto& ae = pairOf(m, "a", "e");
    CHECK(ae["related"] == false);
    for (const char* field :
         {"arrival_ms", "arrivalUncertainty_ms", "arrivalInBand_ms", "distance_m", "polarity", "polarityConfidence"})
        CHECK(ae[field].is_null());
}

TEST_CASE("measure without --json prints tables, and warnings keep to standard error") {
    TemporaryFolder folder;
    writeBand(folder);
    writeWav(folder / "11 nothing.wav", std::vector<float>(sixSeconds, 0.0f));
    const auto answer = call({"measure", folder.path().string()});
    CHECK(answer.status == 0);
    CHECK(answer.out.find("a / b") != std::string::npos);
    CHECK(answer.out.find("inverted") != std::string::npos);
    CHECK(answer.oneLine());
    CHECK(answer.err.find("nothing: silent") != std::string::npos);
}

TEST_CASE("the same input gives the same bytes, whatever the number of threads") {
    TemporaryFolder folder;
    writeBand(folder);
    for (const std::string command : {"measure", "propose"}) {
        const auto one = call({command, folder.path().string(), "--json", "-", "--threads", "1"});
        const auto three = call({command, folder.path().string(), "--json", "-", "--threads", "3"});
        REQUIRE(one.status == 0);
        CHECK(one.out == three.out);
    }
}

TEST_CASE("a stretch, a band, a temperature and a largest arrival can be chosen") {
    TemporaryFolder folder;
    writeBand(folder);
    const auto answer = call({"measure", folder.path().string(), "--json", "-", "--from", "1.5", "--to-time", "5",
                              "--band", "300:3000", "--temperature", "0", "--largest-arrival", "1.5"});
    REQUIRE(answer.status == 0);
    const auto m = answer.parsed();
    CHECK(m["from_s"] == 1.5);
    CHECK(m["to_s"] == 5.0);
    CHECK(m["band_Hz"] == json({300.0, 3000.0}));
    CHECK(m["temperature_C"] == 0.0);
    const auto& ac = pairOf(m, "a", "c");
    CHECK(ac["distance_m"].get<double>() == Approx(0.331286).margin(0.0005)); // 1 ms at 331.286 m/s (ISO 9613-1, 0 °C)
    CHECK(std::abs(pairOf(m, "a", "b")["arrival_ms"].get<double>()) <= 1.5);
}

TEST_CASE("propose gives both rungs, proves its flips and never does worse with nudges") {
    TemporaryFolder folder;
    writeBand(folder);
    const auto saved = folder / "best.json";
    const auto answer =
        call({"propose", folder.path().string(), "--json", "-", "--count", "3", "--save", saved.string()});
    REQUIRE(answer.status == 0);
    const auto p = answer.parsed();
    CHECK(p["format"] == "spillwright/proposals");
    CHECK(p["version"] == 1);
    CHECK(p["band_Hz"] == json({178, 562}));
    CHECK(p["asRecorded"].contains("summationGain_dB"));
    CHECK(p["asRecorded"].contains("lowMidCoherence"));
    double best[2] = {-100.0, -100.0};
    for (const auto& proposal : p["proposals"]) {
        const int rung = proposal["allow"] == "flips" ? 0 : 1;
        if (proposal["rank"] == 1) best[rung] = proposal["summationGain_dB"];
        CHECK(proposal["summationGain_dB"].get<double>() <= best[rung]);
        CHECK(proposal["upperBound_dB"].get<double>() >= proposal["summationGain_dB"].get<double>());
        CHECK(proposal["setting"]["format"] == "spillwright/setting");
        if (rung == 0) {
            CHECK(proposal["proof"] == "exhaustive");
            if (proposal["rank"] == 1) CHECK(proposal["gap_dB"] == 0.0);
        }
    }
    CHECK(best[1] >= best[0]);
    // a, c, d are the same way up: only b is upside down, and at 500 Hz two of the delays are a whole and half a
    // period.
    const auto nudges = std::find_if(p["proposals"].begin(), p["proposals"].end(),
                                     [](const json& x) { return x["allow"] == "nudges" && x["rank"] == 1; });
    REQUIRE(nudges != p["proposals"].end());
    std::map<std::string, std::pair<bool, double>> found;
    for (const auto& track : (*nudges)["setting"]["tracks"])
        found[track["track"]] = {track["flip"], track["nudge_ms"]};
    CHECK_FALSE(found["a"].first);
    CHECK(found["b"].first);
    CHECK_FALSE(found["c"].first);
    CHECK(found["b"].second - found["a"].second == Approx(-2.0).margin(0.01));
    CHECK(found["c"].second - found["a"].second == Approx(-1.0).margin(0.01));
    CHECK(found["e"] == std::pair<bool, double>{false, 0.0}); // shares its sound with nobody: never changed
    CHECK((*nudges)["why"].size() >= 2);
    for (const auto& change : (*nudges)["why"])
        CHECK(change["effect_dB"].get<double>() > 0.0);

    const auto setting = json::parse(contentOf(saved));
    CHECK(setting == p["proposals"][0]["setting"]);
}

TEST_CASE("propose keeps to reference, hold and unlink") {
    TemporaryFolder folder;
    writeBand(folder);
    const auto common = noise(sixSeconds, 1);
    auto right = delayed(common, 0, -0.9f);
    std::vector<float> stereo;
    for (std::size_t n = 0; n < sixSeconds; ++n) {
        stereo.push_back(common[n]);
        stereo.push_back(right[n]);
    }
    writeWav(folder / "05 pair.wav", stereo, 48000, 2);
    auto flips = [&](std::vector<std::string> words) {
        std::vector<std::string> all{"propose", folder.path().string(), "--allow", "flips", "--json", "-"};
        all.insert(all.end(), words.begin(), words.end());
        const auto answer = call(all);
        REQUIRE(answer.status == 0);
        std::map<std::string, bool> result;
        const auto p = answer.parsed();
        for (const auto& track : p["proposals"][0]["setting"]["tracks"])
            result[track["track"]] = track["flip"];
        return result;
    };
    const auto linked = flips({});
    CHECK(linked.at("pair L") == linked.at("pair R"));
    const auto apart = flips({"--unlink"});
    CHECK(apart.at("pair L") != apart.at("pair R"));
    CHECK_FALSE(flips({"--reference", "b"}).at("b"));
    CHECK_FALSE(flips({"--hold", "b", "--hold", "a"}).at("b"));
}

TEST_CASE("render writes what was proposed, and leaves the recording as it was") {
    TemporaryFolder folder, target;
    writeBand(folder);
    const auto before = contentOf(folder / "02 b.wav");
    const auto saved = (target / "s.json").string();
    REQUIRE(call({"propose", folder.path().string(), "--allow", "nudges", "--save", saved, "--json",
                  (target / "p.json").string()})
                .status == 0);
    const auto to = (target / "rendered").string();
    const auto answer = call(
        {"render", folder.path().string(), "--setting", saved, "--to", to, "--sum", (target / "sum.wav").string()});
    INFO(answer.err);
    REQUIRE(answer.status == 0);
    CHECK(contentOf(folder / "02 b.wav") == before);
    CHECK(std::filesystem::exists(std::filesystem::path(to) / "02 b.wav"));
    CHECK(std::filesystem::exists(target / "sum.wav"));

    // What was late and upside down is neither any more.
    const auto again = call({"measure", to, "--json", "-"});
    REQUIRE(again.status == 0);
    const auto m = again.parsed();
    CHECK(pairOf(m, "a", "b")["polarity"] == 1);
    CHECK(std::abs(pairOf(m, "a", "b")["arrival_ms"].get<double>()) < 0.01);

    const auto refused = call({"render", folder.path().string(), "--setting", saved, "--to", to});
    CHECK(refused.status == 1);
    CHECK(refused.oneLine());
    CHECK(call({"render", folder.path().string(), "--setting", saved, "--to", to, "--replace"}).status == 0);
    const auto same =
        call({"render", folder.path().string(), "--setting", saved, "--to", folder.path().string(), "--replace"});
    CHECK(same.status == 1);
    CHECK(same.oneLine());
    CHECK(contentOf(folder / "02 b.wav") == before);
}

TEST_CASE("bad input ends with status 1 and one clear line") {
    TemporaryFolder empty, one, texts, good;
    writeWav(one / "only.wav", noise(sixSeconds, 1));
    writeBytes(texts / "a.wav", "this is a text");
    writeBand(good);
    const auto setting = good / "setting.json";
    const auto broken = good / "broken.json";
    const auto fine = good / "fine.json";
    writeBytes(fine, R"({"format":"spillwright/setting","version":1,"tracks":[]})");
    writeBytes(broken, R"({"format":"spillwright/setting","version":1,"tracks":[{"track":"no\nbody"}]})");
    writeBytes(setting, R"({"format":"spillwright/setting","version":1,"tracks":[{"track":"nobody"}]})");
    const auto goodFolder = good.path().string();
    const std::vector<std::pair<std::vector<std::string>, std::string>> calls = {
        {{"measure", (empty / "absent").string()}, "absent: does not exist"},
        {{"measure", (one / "only.wav").string()}, "only.wav: is not a folder"},
        {{"measure", empty.path().string()}, "holds no WAV, AIFF or FLAC file"},
        {{"measure", texts.path().string()},
         "its one audio file cannot be read (a.wav is not a WAV, AIFF or FLAC file)"},
        {{"propose", one.path().string()}, "only one usable track"},
        {{"propose", goodFolder, "--reference", "nobody"}, "nobody: no track bears this name"},
        {{"propose", goodFolder, "--hold", "nobody"}, "nobody: no track bears this name"},
        {{"propose", goodFolder, "--setting", (empty / "absent.json").string()},
         "absent.json: this setting cannot be read: no such file or directory"},
        {{"propose", goodFolder, "--setting", setting.string()}, "nobody: no track bears this name"},
        {{"propose", goodFolder, "--setting", broken.string()}, "no body: no track bears this name"},
        {{"measure", goodFolder, "--from", "1000"},
         "the stretch begins outside the recording; the recording is 6 s long"},
        {{"measure", goodFolder, "--from", "6.01", "--to-time", "7"},
         "the stretch begins outside the recording; the recording is 6 s long"},
        {{"measure", goodFolder, "--band", "30000:40000"}, "the band lies above half the recording's sample rate"},
        {{"measure", goodFolder, "--band", "300:300.1"}, "the band holds none of the frequencies that are measured"},
        {{"measure", goodFolder, "--json", (empty / "absent" / "m.json").string()},
         "absent/m.json: cannot be written: no such file or directory"},
        {{"measure", goodFolder, "--json", (good / "01 a.wav").string()},
         "01 a.wav: is a file of the recording, which is never written to"},
        {{"render", goodFolder, "--setting", setting.string(), "--to", (empty / "x").string()},
         "nobody: no track bears this name"},
        {{"report", (empty / "absent").string(), "--to", (empty / "r.html").string()}, "absent: does not exist"},
        {{"report", goodFolder, "--setting", setting.string(), "--to", (empty / "r.html").string()},
         "nobody: no track bears this name"},
        {{"report", goodFolder, "--setting", (empty / "absent.json").string(), "--to", (empty / "r.html").string()},
         "absent.json: this setting cannot be read: no such file or directory"},
        {{"report", goodFolder, "--session", setting.string(), "--to", (empty / "r.html").string()},
         "setting.json: \"format\" is not \"spillwright/session\""},
        {{"report", goodFolder, "--source", "nobody", "--to", (empty / "r.html").string()},
         "nobody: no source and no close track bears this name"},
        {{"report", goodFolder, "--to", empty.path().string()}, "is a folder"},
        {{"report", goodFolder, "--to", (empty / "absent" / "r.html").string()},
         "absent/r.html: cannot be written: no such file or directory"},
        {{"report", goodFolder, "--to", (good / "01 a.wav").string()},
         "01 a.wav: lies in the recording, which is never written to"},
        {{"report", goodFolder, "--to", (empty / "r.html").string(), "--recall", (good / "01 a.wav").string()},
         "01 a.wav: lies in the recording, which is never written to"},
        {{"report", goodFolder, "--to", (empty / "r.html").string(), "--recall", (empty / "r.html").string()},
         "r.html: is to be the report and the recall sheet"},
        {{"report", goodFolder, "--to", "/dev/full"}, "/dev/full: cannot be written: no space left on device"},
        {{"sums", goodFolder, "--setting", setting.string(), "--to", (empty / "x").string()},
         "nobody: no track bears this name"},
        {{"sums", goodFolder, "--session", (empty / "absent").string(), "--to", (empty / "x").string()},
         "absent: this session cannot be read: no such file or directory"},
        {{"sums", (empty / "absent").string(), "--setting", fine.string(), "--to", (empty / "x").string()},
         "absent: does not exist"},
        {{"sums", goodFolder, "--setting", fine.string(), "--to", goodFolder},
         "is the recording itself, which is never written to"},
        {{"render", goodFolder, "--setting", fine.string(), "--to", (empty / "x").string(), "--notes",
          (good / "n.txt").string()},
         "n.txt: lies in the recording, which is never written to"},
        {{"demo", "nobody", "--to", (empty / "x").string()}, "nobody: no demo session bears this name"},
        {{"lesson", "nothing", "--to", (empty / "x").string()},
         "nothing: no lesson has this number, name or title, and no file"},
        {{"lesson", broken.string()}, "broken.json: \"format\" is not \"spillwright/lesson\""},
        {{"manual", "--to", goodFolder}, "this folder is not empty"},
        {{"lesson", "three to one", "--to", goodFolder}, "this folder is not empty"},
        {{"lesson", "three to one", "--recording", goodFolder, "--track", "nobody", "--to", (empty / "x").string()},
         "nobody: no track bears this name"},
        {{"lesson", "three to one", "--recording", goodFolder, "--track", "a", "--from", "100", "--to",
          (empty / "x").string()},
         "--from: lies past the end of the recording; it lasts 6.00 s"},
    };
    for (const auto& [words, line] : calls) {
        const auto answer = call(words);
        INFO(words[0] << " " << words[1] << ": " << answer.err);
        CHECK(answer.status == 1);
        CHECK(answer.oneLine());
        CHECK(answer.err.find(line) != std::string::npos);
        CHECK(answer.out.empty());
    }
    CHECK(std::filesystem::is_empty(empty.path()));
    CHECK(contentOf(good / "01 a.wav").substr(0, 4) == "RIFF");
}

TEST_CASE("what cannot be proposed is told in one line that names the place and what to do") {
    TemporaryFolder folder, silent, alone, tones, elsewhere;
    writeBand(folder);
    std::vector<float> tone(sixSeconds);
    for (std::size_t n = 0; n < tone.size(); ++n)
        tone[n] =
            0.5f * static_cast<float>(std::sin(2.0 * std::numbers::pi * 3000.0 * static_cast<double>(n) / 48000.0));
    for (const char* name : {"a.wav", "b.wav"}) // in the low-mids they are rounding
        writeWav(tones / name, tone);
    const std::vector<float> nothing(sixSeconds, 0.0f);
    std::vector<float> stereo;
    for (const float sample : noise(sixSeconds, 1))
        stereo.insert(stereo.end(), {sample, -sample});
    writeWav(folder / "05 pair.wav", stereo, 48000, 2);
    writeWav(folder / "11 nothing.wav", nothing);
    for (const char* name : {"a.wav", "b.wav"})
        writeWav(silent / name, nothing);
    writeWav(alone / "a.wav", noise(sixSeconds, 1));
    writeWav(alone / "b.wav", nothing);
    const auto setting = [&](const std::string& name, const json& tracks) {
        const auto file = elsewhere / (name + ".json");
        writeBytes(file, json{{"format", "spillwright/setting"}, {"version", 1}, {"tracks", tracks}}.dump());
        return file.string();
    };
    const auto upsideDown = setting("upside down", {{{"track", "a"}, {"flip", true}}});
    const auto late = setting("late", {{{"track", "a"}, {"nudge_ms", 3}}});
    const auto apart =
        setting("apart", {{{"track", "pair L"}, {"nudge_ms", -12}}, {{"track", "pair R"}, {"nudge_ms", 12}}});
    json mutes = json::array();
    for (const char* name : {"a", "b", "c", "d", "e", "pair L", "pair R"})
        mutes.push_back({{"track", name}, {"muted", true}});

    struct Wrong {
        std::filesystem::path folder;
        std::vector<std::string> words;
        int status;
        std::string line; ///< What it holds.
    };
    const auto& band = folder.path();
    const std::vector<Wrong> calls = {
        {silent.path(), {}, 1, "every track is silent or unreadable; choose a folder of tracks with sound in them"},
        {alone.path(), {}, 1, "only one usable track; a proposal needs at least two tracks"},
        {band, {"--reference", "nobody"}, 1, "nobody: no track bears this name; near ones: "},
        {band, {"--reference", "nothing"}, 1, "nothing: this track is silent; name a track with sound in it"},
        {band, {"--hold", "f"}, 1, "f: no track bears this name; near ones: "},
        {band, {"--group", "a,f"}, 1, "f: no track bears this name; near ones: "},
        {band, {"--own-largest-nudge", "f=1"}, 1, "f: no track bears this name; near ones: "},
        {band, {"--band", "30000:40000"}, 1, "above half the recording's sample rate; choose a lower band"},
        {band, {"--band", "300:300.1"}, 1, "the band holds none of the frequencies that are measured"},
        {band, {"--setting", setting("mutes", mutes)}, 1, "all tracks are muted; unmute two or more"},
        {tones.path(), {}, 1, "nothing sounds in the band; choose a band in which the tracks have energy"},
        {band, {"--save", (band / "01 a.wav").string()}, 1, "is a file of the recording, which is never written to"},
        {band, {"--save", (elsewhere / "no" / "x.json").string()}, 1, "cannot be written: no such file or directory"},
        {band, {"--largest-nudge", "-1"}, 2, "--largest-nudge: is outside 0 to 1000; give milliseconds"},
        {band, {"--largest-nudge", "nan"}, 2, "--largest-nudge: is outside 0 to 1000; give milliseconds"},
        {band, {"--largest-nudge", "1001"}, 2, "--largest-nudge: is outside 0 to 1000; give milliseconds"},
        {band, {"--own-largest-nudge", "a=nan"}, 2, "'a=nan' is no TRACK=MS, 0 to 1000 ms; write it like "},
        {band, {"--time", "-1"}, 2, "--time: is below 0; give seconds, or leave it out"},
        {band, {"--time", "nan"}, 2, "--time: is not a number; give seconds, or leave it out"},
        {band, {"--least-worth", "nan"}, 2, "--least-worth: is not a number; give decibels, 0 to keep every change"},
        {band, {"--least-worth", "-1"}, 2, "--least-worth: is below 0; give decibels, 0 to keep every change"},
        {band, {"--group", ""}, 2, "--group: a group names no track; write TRACK,TRACK"},
        {band, {"--group", "a,,b"}, 2, "--group: a group names no track; write TRACK,TRACK"},
        {band, {"--group", "a,"}, 2, "--group: a group names no track; write TRACK,TRACK"},
        {band, {"--reference", "a", "--hold", "a", "--setting", upsideDown}, 2, "a: is held upside down, but a ref"},
        {band,
         {"--reference", "a", "--hold", "a", "--setting", late},
         2,
         "a: is held at a nudge, but a reference keeps"},
        {band,
         {"--setting", apart},
         2,
         "pair L and pair R: linked tracks lie further apart than the largest nudge allows; allow a larger nudge, or "
         "unlink them"},
        {band,
         {"--setting", late, "--group", "d,b,a", "--largest-nudge", "1"},
         2,
         "a and b: tracks of one group lie further apart than the largest nudge allows; allow a larger nudge, or leave "
         "out the group"},
        {band, {"--even-balance", "--source", "a"}, 2, "is that of all that sounds, not of one source; leave out one"},
    };
    for (const auto& [recording, words, status, line] : calls) {
        std::vector<std::string> all{"propose", recording.string(), "--json", "-"};
        all.insert(all.end(), words.begin(), words.end());
        const auto answer = call(all);
        // What the recording's own remarks say, one line each, comes before.
        const auto last = answer.err.rfind('\n', answer.err.size() - 2);
        const auto said = last == std::string::npos ? answer.err : answer.err.substr(last + 1);
        INFO((words.empty() ? "" : words[0]) << ": " << answer.err);
        CHECK(answer.status == status);
        CHECK(said.find("spillwright-cli: ") == 0);
        CHECK(said.find(line) != std::string::npos);
        CHECK(said.find("; ") != std::string::npos);
        CHECK(answer.out.empty());
    }
    CHECK(contentOf(folder / "01 a.wav").substr(0, 4) == "RIFF");
}

TEST_CASE("where most is won is told by the name of a third octave, or not at all") {
    TemporaryFolder folder;
    writeBand(folder);
    const auto words = [&](const std::string& band) {
        const auto answer = call({"propose", folder.path().string(), "--allow", "flips", "--least-worth", "0", "--band",
                                  band, "--json", "-"});
        REQUIRE(answer.status == 0);
        return answer.parsed()["proposals"][0]["words"].get<std::string>();
    };
    CHECK(words("178:562").find(", most around ") != std::string::npos);
    for (const char* band : {"5:10", "10000:20000"}) {
        INFO(band << ": " << words(band));
        CHECK(words(band).find(" to the sum") != std::string::npos);
        CHECK(words(band).find("most around") == std::string::npos);
    }
}

TEST_CASE("where every track is held nothing is changed, and the proposal says that it is best") {
    TemporaryFolder folder;
    writeBand(folder);
    std::vector<std::string> words{"propose", folder.path().string(), "--json", "-"};
    for (const char* name : {"a", "b", "c", "d", "e"})
        words.insert(words.end(), {"--hold", name});
    const auto answer = call(words);
    REQUIRE(answer.status == 0);
    const auto told = answer.parsed();
    REQUIRE(told["proposals"].size() == 2);
    for (const auto& proposal : told["proposals"]) {
        CHECK(proposal["summationGain_dB"] == told["asRecorded"]["summationGain_dB"]);
        CHECK(proposal["gap_dB"] == 0.0);
        CHECK(proposal["why"].empty());
        for (const auto& track : proposal["setting"]["tracks"]) {
            CHECK(track["flip"] == false);
            CHECK(track["nudge_ms"] == 0.0);
        }
    }
}

TEST_CASE("recordings at the edge of what can be measured are measured, with one clear line each", "[long]") {
    struct Edge {
        const char* what;
        int rate;
        std::vector<std::vector<float>> tracks;
        std::vector<std::string> words;
        std::string line; ///< How the only one begins, after the name of the folder or track; empty: none.
    };
    const auto related = [](std::size_t length, int late) {
        const auto common = noise(length, 1);
        return std::vector<std::vector<float>>{mixed(common, noise(length, 2, 0.02f)),
                                               mixed(delayed(common, late), noise(length, 3, 0.02f))};
    };
    auto clipped = related(sixSeconds, 48);
    for (auto& sample : clipped[1])
        sample = sample < 0.0f ? -1.0f : 1.0f;
    auto paused = related(5 * sixSeconds, 48); // silent from 5 to 25 s
    for (auto& track : paused)
        std::fill(track.begin() + 5 * 48000, track.begin() + 25 * 48000, 0.0f);
    auto brief = related(900, 48);
    for (auto& track : brief)
        for (auto& sample : track)
            sample *= 0.1f; // the mean of so few is no offset then
    const std::vector<Edge> edges = {
        {"8 kHz", 8000, related(60000, 8), {}, ""},
        {"8 kHz, a band to 6 kHz", 8000, related(60000, 8), {"--band", "100:6000"}, ": the band is read up to 4000 Hz"},
        {"192 kHz", 192000, related(4 * sixSeconds, 192), {}, ""},
        {"shorter than a window", 48000, related(12000, 48), {}, ": short: measured with windows of 4096 samples"},
        {"shorter than any window", 48000, brief, {}, ": too short to compare tracks"},
        {"clipped throughout", 48000, clipped, {}, "1: clipped throughout"},
        {"silent in between", 48000, paused, {}, ""},
    };
    for (const auto& edge : edges) {
        TemporaryFolder folder; // one player in each, whom all tracks hear
        for (std::size_t k = 0; k < edge.tracks.size(); ++k) {
            const auto number = std::to_string(k);
            writeWav(folder / (std::string(3 - number.size(), '0') + number + " t" + number + ".wav"), edge.tracks[k],
                     edge.rate);
        }
        std::vector<std::string> words{"measure", folder.path().string(), "--json", "-"};
        words.insert(words.end(), edge.words.begin(), edge.words.end());
        const auto answer = call(words);
        INFO(edge.what << ": " << answer.err);
        REQUIRE(answer.status == 0);
        const auto m = answer.parsed();
        INFO(m["warnings"].dump());
        REQUIRE(m["warnings"].size() == (edge.line.empty() ? 0 : 1));
        if (!edge.line.empty()) {
            const auto line = m["warnings"][0].get<std::string>();
            CHECK(line.find(edge.line) != std::string::npos);
            CHECK(line.find('\n') == std::string::npos);
        }
        const auto& pair = m["pairs"][0];
        if (edge.tracks.size() == 2 && edge.tracks[0].size() > 10000 && edge.tracks != clipped) {
            CHECK(pair["related"] == true);
            CHECK(pair["arrival_ms"].get<double>() == Approx(1.0).margin(0.005));
        }
    }
}

TEST_CASE("128 tracks are measured, every pair of them", "[long]") {
    TemporaryFolder folder;
    for (int k = 0; k < 128; ++k)
        writeWav(folder / (std::to_string(1000 + k) + " t" + std::to_string(k) + ".wav"), delayed(noise(48000, 1), k),
                 48000);
    const auto answer = call({"measure", folder.path().string(), "--json", "-"});
    INFO(answer.err);
    REQUIRE(answer.status == 0);
    const auto m = answer.parsed();
    CHECK(m["warnings"].empty());
    CHECK(m["pairs"].size() == 128 * 127 / 2);
    CHECK(m["pairs"].back()["related"] == true);
}

TEST_CASE("words that are off end with status 2") {
    TemporaryFolder good;
    writeBand(good);
    const auto folder = good.path().string();
    const std::vector<std::pair<std::vector<std::string>, std::string>> calls = {
        {{}, "call: "},
        {{"measure"}, "FOLDER"},
        {{"measure", folder, "--nonsense"}, "--nonsense"},
        {{"nonsense", folder}, "nonsense: there is no such command"},
        {{"measure", folder, "--band", "562:178"}, "--band: '562:178' is the wrong way round"},
        {{"measure", folder, "--band", "178"}, "--band: '178' is no band"},
        {{"measure", folder, "--band", "a:b"}, "--band: 'a:b' holds what is no number"},
        {{"measure", folder, "--band", "nan:500"}, "--band: 'nan:500' holds what is no number"},
        {{"measure", folder, "--from", "3", "--to-time", "2"}, "--to-time: does not lie after --from"},
        {{"measure", folder, "--from", "-1"}, "--from: is below 0"},
        {{"measure", folder, "--from", "nan"}, "--from, --to-time: hold what is no number"},
        {{"measure", folder, "--to-time", "inf"}, "--from, --to-time: hold what is no number"},
        {{"measure", folder, "--band", "0x10:0x100"}, "--band: '0x10:0x100' holds what is no number"},
        {{"measure", folder, "--json", ""}, "--json: needs the name of a file"},
        {{"measure", folder, "--from", "two"}, "--from"},
        {{"measure", folder, "--threads", "0"}, "--threads"},
        {{"measure", folder, "--largest-arrival", "0"}, "--largest-arrival: is not above 0 or is above 150"},
        {{"measure", folder, "--temperature", "1000"}, "--temperature: is outside -60 to 60"},
        {{"propose", folder, "--allow", "everything"}, "--allow"},
        {{"propose", folder, "--count", "0"}, "--count"},
        {{"propose", folder, "--largest-nudge", "-1"}, "--largest-nudge: is outside 0 to 1000"},
        {{"propose", folder, "--least-worth", "-1"}, "--least-worth: is below 0"},
        {{"propose", folder, "--own-largest-nudge", "kick in"},
         "--own-largest-nudge: 'kick in' is no TRACK=MS, 0 to 1000 ms"},
        {{"propose", folder, "--own-largest-nudge", "kick in=-3"},
         "--own-largest-nudge: 'kick in=-3' is no TRACK=MS, 0 to 1000 ms"},
        {{"render", folder, "--to", "x"}, "--setting"},
        {{"render", folder, "--setting", "x", "--to", "y", "--bits", "12"}, "--bits"},
        {{"demo", "x"}, "demo: --to is missing"},
        {{"report", folder}, "--to"},
        {{"report", folder, "--to", ""}, "--to: needs the name of a file"},
        {{"report", folder, "--to", "x.html", "--json", "-"}, "--json"},
        {{"report", folder, "--to", "x.html", "--band", "9:1"}, "--band: '9:1' is the wrong way round"},
        {{"report", folder, "--to", "x.html", "--time", "-1"}, "--time: is below 0"},
        {{"sums", folder, "--to", "x"}, "sums: says of no setting whose sum is wanted"},
        {{"sums", folder, "--setting", "x"}, "--to"},
        {{"sums", folder, "--setting", "x", "--to", "y", "--loudness", "3"}, "--loudness: is outside -70 to 0"},
        {{"lesson", "--to", "x"}, "lesson: NAME is missing"},
        {{"lesson", "three to one", "--sound", "trumpet"}, "--sound"},
        {{"lesson", "three to one", "--recording", "x"}, "--recording, --track: only one of them is given"},
        {{"lesson", "three to one", "--recording", "x", "--track", "y", "--from", "-1", "--to", "z"},
         "--from: is no time in the recording"},
    };
    for (const auto& [words, line] : calls) {
        const auto answer = call(words);
        std::string said;
        for (const auto& word : words)
            said += word + " ";
        INFO(said << ": " << answer.err);
        CHECK(answer.status == 2);
        CHECK(answer.oneLine());
        CHECK(answer.err.find(line) != std::string::npos);
        CHECK(answer.out.empty());
    }
}

TEST_CASE("the rest of a folder opens though some files cannot be read") {
    TemporaryFolder folder;
    writeBand(folder);
    writeBytes(folder / "20 text.wav", "RIFFnonsense");
    writeBytes(folder / "21 empty.wav", "");
    auto hot = noise(sixSeconds, 7, 0.5f);
    hot[100] = 1.5f;
    hot[200] = -1.5f;
    writeWav(folder / "22 hot.wav", hot);
    auto leaning = noise(sixSeconds, 8);
    for (auto& sample : leaning)
        sample += 0.05f;
    writeWav(folder / "23 leaning.wav", leaning);
    std::filesystem::copy(folder / "01 a.wav", folder / "24 again.wav");
    std::filesystem::copy(folder / "01 a.wav", folder / "25 once more.wav");
    const auto answer = call({"measure", folder.path().string(), "--json", "-"});
    REQUIRE(answer.status == 0);
    const auto m = answer.parsed();
    std::map<std::string, json> tracks;
    for (const auto& track : m["tracks"])
        tracks[track["name"]] = track;
    CHECK(tracks["text"]["state"] == "unreadable");
    CHECK(tracks["text"]["why"].get<std::string>().size() > 3);
    CHECK(tracks["text"]["level_dBFS"].is_null());
    CHECK(tracks["empty"]["state"] == "unreadable");
    CHECK(tracks["hot"]["clippedSamples"] == 2);
    // The noise's own mean has a standard deviation of 0.1/sqrt(288000) = 0.00019, that is 0.032 dB of 0.05.
    CHECK(tracks["leaning"]["offset_dBFS"].get<double>() == Approx(20.0 * std::log10(0.05)).margin(0.13));
    std::string warnings;
    for (const auto& line : m["warnings"])
        warnings += line.get<std::string>() + "\n";
    for (const char* words : {"20 text.wav", "21 empty.wav", "hot: 2 samples at full scale", "leaning: constant offset",
                              "again: the same audio as a;", "once more: the same audio as a;"}) {
        INFO(warnings);
        CHECK(warnings.find(words) != std::string::npos);
    }
    CHECK(m["warnings"].size() == 6); // each said once
}

TEST_CASE("a name with umlauts, spaces and 200 characters is a name like any other") {
    TemporaryFolder folder;
    const auto common = noise(sixSeconds, 1);
    const std::string longName(200, 'x');
    writeWav(folder / "Flügel hinten, 3. Mikrofon.wav", common);
    writeWav(folder / (longName + ".wav"), delayed(common, 10));
    const auto answer = call({"measure", folder.path().string(), "--json", "-"});
    REQUIRE(answer.status == 0);
    const auto m = answer.parsed();
    CHECK(m["tracks"][0]["name"] == "Flügel hinten, 3. Mikrofon");
    CHECK(m["tracks"][1]["name"] == longName);
    CHECK(call({"measure", folder.path().string()}).status == 0);
}

TEST_CASE("measure fills the spill map, keeps what stands close to what, and takes it back mended") {
    TemporaryFolder folder, elsewhere;
    spillingBand::write(folder.path());
    const auto recording = folder.path().string();
    const auto file = (elsewhere / "band.json").string();
    const auto measured = call({"measure", recording, "--json", "-", "--save-sources", file});
    REQUIRE(measured.status == 0);
    const auto told = measured.parsed();
    CHECK(told["source"].is_null());
    bool found = false;
    for (const auto& entry : told["spill"]) {
        if (entry["source"] != "ride" || entry["track"] != "trumpet") continue;
        found = true;
        CHECK(entry["level_dB"].get<double>() == Approx(-8.4).margin(0.3)); // 20 lg 0.38
        CHECK(entry["arrival_ms"].get<double>() == Approx(3.0).margin(0.02));
        CHECK(entry["polarity"] == 1);
    }
    CHECK(found);
    CHECK(told["tracks"][4]["spillShare"] == 1.0);

    auto list = json::parse(contentOf(file));
    CHECK(list["format"] == "spillwright/sources");
    REQUIRE(list["sources"].size() == 3);
    list["sources"].erase(0);
    list["sources"][0]["name"] = "brass";
    writeBytes(file, list.dump());
    const auto mended = call({"measure", recording, "--json", "-", "--sources", file});
    REQUIRE(mended.status == 0);
    CHECK(mended.parsed()["sources"].size() == 2);
    CHECK(mended.parsed()["sources"][0]["name"] == "brass");
    CHECK(mended.parsed()["tracks"][0]["spillShare"] == 1.0); // the kick is nobody's now

    // The recording is never written to.
    const auto before = contentOf(folder / "01 kick in.wav");
    const auto own = call({"measure", recording, "--save-sources", recording + "/01 kick in.wav"});
    CHECK(own.status == 1);
    CHECK(own.err.find("is a file of the recording, which is never written to; choose another name") !=
          std::string::npos);
    CHECK(contentOf(folder / "01 kick in.wav") == before);
}

TEST_CASE("with --aim proposals serve the sums of the sources") {
    TemporaryFolder folder;
    spillingBand::write(folder.path());
    const auto recording = folder.path().string();
    const auto mean = call({"propose", recording, "--json", "-", "--allow", "flips", "--aim", "mean", "--aim-source",
                            "kick=2", "--aim-source", "ride"});
    REQUIRE(mean.status == 0);
    const auto told = mean.parsed();
    CHECK(told["aim"] == "mean");
    CHECK(told["aimedAt"] ==
          json::array({{{"source", "kick"}, {"weight", 2.0}}, {{"source", "ride"}, {"weight", 1.0}}}));
    CHECK(told["proposals"][0]["sources"].size() == 3);
    const auto worst = call({"propose", recording, "--allow", "flips", "--aim", "worst"});
    REQUIRE(worst.status == 0);
    CHECK(worst.out.find("for the source farthest below its own best: kick trumpet ride") != std::string::npos);
    CHECK(worst.out.find("below its best") != std::string::npos);
    CHECK(call({"propose", recording, "--json", "-", "--allow", "flips"}).parsed()["aim"] == "sum");

    struct Case {
        std::vector<std::string> words;
        int status;
        const char* says;
    };
    for (const auto& [words, status, says] : std::vector<Case>{
             {{"--aim-source", "kick"}, 2, "add --aim mean or --aim worst"},
             {{"--aim", "worst", "--aim-source", "kick=2"}, 2, "leave the weight out"},
             {{"--aim", "mean", "--aim-source", "kick=0"}, 2, "its weight is not above 0"},
             {{"--aim", "mean", "--aim-source", "oboe"}, 1, "no source and no close track bears this name"},
             {{"--aim", "worst", "--count", "3"}, 2, "has one proposal a rung"},
             {{"--aim", "mean", "--source", "kick"}, 2, "while one is in focus"}}) {
        std::vector<std::string> all{"propose", recording};
        all.insert(all.end(), words.begin(), words.end());
        const auto answer = call(all);
        INFO(answer.err);
        CHECK(answer.status == status);
        CHECK(answer.out.empty());
        CHECK(answer.err.find(says) != std::string::npos);
    }
}

TEST_CASE("with --source pairs and proposals are those of one source") {
    TemporaryFolder folder;
    spillingBand::write(folder.path());
    const auto recording = folder.path().string();
    const auto ride = call({"measure", recording, "--json", "-", "--source", "ride"});
    REQUIRE(ride.status == 0);
    CHECK(ride.parsed()["source"] == "ride");
    const auto told = ride.parsed();
    const auto& pair = pairOf(told, "trumpet", "ride");
    CHECK(pair["arrival_ms"].get<double>() == Approx(-3.0).margin(0.02));
    CHECK(ride.parsed()["spill"].size() == 15);

    const auto kick = call({"propose", recording, "--json", "-", "--source", "kick out", "--allow", "flips"});
    REQUIRE(kick.status == 0);
    CHECK(kick.parsed()["source"] == "kick");
    std::vector<bool> flips;
    const auto proposals = kick.parsed();
    for (const auto& track : proposals["proposals"][0]["setting"]["tracks"])
        flips.push_back(track["flip"]);
    CHECK(flips[0] != flips[1]); // the outer one hears it upside down

    for (const auto& words : std::vector<std::vector<std::string>>{
             {"measure", recording, "--source", "rode"},
             {"measure", recording, "--source", "far"},
             {"propose", recording, "--source", "oboe"},
             {"measure", recording, "--sources", (folder / "none.json").string()},
             {"measure", recording, "--sources", (folder / "01 kick in.wav").string()}}) {
        const auto answer = call(words);
        INFO(answer.err);
        CHECK(answer.status == 1);
        CHECK(answer.out.empty());
        CHECK(answer.oneLine());
    }
}

TEST_CASE("report writes one page for somebody who was not there, and the recall sheet of the setting taken") {
    TemporaryFolder folder, target;
    writeBand(folder);
    const auto before = contentOf(folder / "02 b.wav");
    const auto page = (target / "r.html").string(), sheet = (target / "r.csv").string();
    const std::vector<std::string> words{"report", folder.path().string(), "--to", page, "--recall", sheet};
    const auto answer = call(words);
    INFO(answer.err);
    REQUIRE(answer.status == 0);
    CHECK(answer.out == page + "\n" + sheet + "\n");
    const auto html = contentOf(page);
    CHECK(html.find("The setting taken, \u201cflips\u201d") != std::string::npos); // as propose --save has it
    const auto proposed = call({"propose", folder.path().string(), "--allow", "flips", "--json", "-"}).parsed();
    for (const auto& track : proposed["proposals"][0]["setting"]["tracks"]) {
        const auto name = track["track"].get<std::string>();
        const auto row = contentOf(sheet).find("\r\n" + name + ",");
        REQUIRE(row != std::string::npos);
        CHECK(contentOf(sheet).substr(row, 40).find(track["flip"].get<bool>() ? ".wav,1,yes,0," : ".wav,1,no,0,") !=
              std::string::npos);
    }
    CHECK(contentOf(folder / "02 b.wav") == before);
    // Nothing is overwritten unasked, and a bad target is told before anything is read.
    const auto refused = call(words);
    CHECK(refused.status == 1);
    CHECK(refused.oneLine());
    CHECK(refused.err.find(page + ": is there already") != std::string::npos);
    CHECK(call({"report", (target / "absent").string(), "--to", page}).err.find(page + ": is there already") !=
          std::string::npos);
    CHECK(call({"report", folder.path().string(), "--to", (folder / "r.html").string()})
              .err.find("lies in the recording") != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder / "r.html"));
    auto again = words;
    again.insert(again.end(), {"--threads", "1", "--replace"});
    REQUIRE(call(again).status == 0);
    CHECK((contentOf(page) == html));

    // With a setting that one is taken; proposals stand beside it.
    const auto setting = target / "by hand.json";
    writeBytes(setting, R"({"format":"spillwright/setting","version":1,"tracks":[{"track":"c","nudge_ms":-1.0}]})");
    auto mine = words;
    mine.insert(mine.end(), {"--setting", setting.string(), "--date", "today", "--replace"});
    REQUIRE(call(mine).status == 0);
    CHECK(contentOf(page).find("The setting taken, \u201cby hand\u201d") != std::string::npos);
    CHECK(contentOf(page).find("Set by hand") != std::string::npos);
    CHECK(contentOf(page).find("Report of today.") != std::string::npos);
    CHECK(contentOf(page).find("<h3>flips</h3>") != std::string::npos);
    CHECK(contentOf(sheet).find("\r\nc,03 c.wav,1,no,-1,-48,-34.32,") != std::string::npos);

    // One that was saved from a proposal is told as proposed, with what was proven, and not listed twice.
    const auto saved = target / "saved.json";
    REQUIRE(call({"propose", folder.path().string(), "--allow", "flips", "--save", saved.string()}).status == 0);
    auto asProposed = words;
    asProposed.insert(asProposed.end(), {"--setting", saved.string(), "--replace"});
    REQUIRE(call(asProposed).status == 0);
    CHECK(contentOf(page).find("As proposed (\u201cflips\u201d). Turning ") != std::string::npos);
    CHECK(contentOf(page).find("Set by hand") == std::string::npos);
    CHECK(contentOf(page).find("Nothing to change") == std::string::npos);

    // A session brings its versions.
    const auto session = target / "s.spillwright";
    writeBytes(session, R"({"format":"spillwright/session","version":1,
        "setting":{"tracks":[{"track":"b","flip":true},{"track":"gone","flip":true}]},
        "versions":[{"name":"kept7","setting":{"tracks":[{"track":"d","flip":true}]}}]})");
    auto with = words;
    with.insert(with.end(), {"--session", session.string(), "--replace"});
    const auto told = call(with);
    INFO(told.err);
    REQUIRE(told.status == 0);
    CHECK(contentOf(page).find("kept under 7") != std::string::npos);
    CHECK(contentOf(page).find("The setting taken, \u201cas heard\u201d") != std::string::npos);

    // One track alone has nothing to be proposed, but a report.
    TemporaryFolder one;
    writeWav(one / "only.wav", noise(sixSeconds, 1));
    CHECK(call({"report", one.path().string(), "--to", page, "--replace"}).status == 0);
    CHECK(contentOf(page).find("It was left as recorded.") != std::string::npos);
}

TEST_CASE("sums writes the sums of all settings, equally loud, with their notes") {
    TemporaryFolder folder, target;
    writeBand(folder);
    const auto setting = target / "turned.json";
    writeBytes(setting, R"({"format":"spillwright/setting","version":1,"tracks":[{"track":"b","flip":true}]})");
    const auto session = target / "s.spillwright";
    writeBytes(session, R"({"format":"spillwright/session","version":1,"setting":{"tracks":[]},
        "versions":[{"name":"kept7","setting":{"tracks":[{"track":"d","flip":true}]}}]})");
    const auto to = target / "sums";
    const auto answer = call({"sums", folder.path().string(), "--setting", setting.string(), "--session",
                              session.string(), "--to", to.string(), "--loudness", "-30"});
    INFO(answer.err);
    REQUIRE(answer.status == 0);
    for (const char* name : {"1 as recorded.wav", "2 turned.wav", "3 kept under 7.wav", "sums.txt"}) {
        CHECK(std::filesystem::exists(to / name));
        CHECK(answer.out.find((to / name).string() + "\n") != std::string::npos);
    }
    CHECK(contentOf(to / "sums.txt").find("# 3 kept under 7.wav: -30.00 LUFS, ") != std::string::npos);
}

TEST_CASE("compare holds takes against the first, and says in one line what stands in its way") {
    TemporaryFolder one, two, three, silent, brief, other;
    writeBand(one);
    writeBand(two);
    writeBand(three);
    writeWav(two.path() / "02 b.wav", mixed(delayed(noise(sixSeconds, 1), 96, 0.8f), noise(sixSeconds, 3, 0.02f)));
    const auto path = [](const TemporaryFolder& folder) { return folder.path().string(); };

    const auto answer = call({"compare", path(one), path(two), "--json", "-"});
    REQUIRE(answer.status == 0);
    const auto c = answer.parsed();
    CHECK(c["format"] == "spillwright/comparison");
    CHECK(c["takes"][1]["folder"] == path(two));
    CHECK(c["differences"][0]["changes"][0]["track"] == "b");
    CHECK(c["differences"][0]["changes"][0]["change"] == "inverted");
    CHECK(call({"compare", path(one), path(two), "--json", "-", "--threads", "1"}).out == answer.out);
    const auto table = call({"compare", path(one), path(two), path(three)});
    CHECK(table.status == 0);
    CHECK(table.out.find("b: the other way up than in A") != std::string::npos);
    CHECK(table.out.find("C against A:") != std::string::npos);
    // The verdicts come last, and what differs alone is listed unless all is asked for.
    CHECK(table.out.find("B against A:") > table.out.find("stands: "));
    CHECK(table.out.find("b: the other way up than in A") > table.out.find("B against A:"));
    CHECK(table.out.find("--all") != std::string::npos);
    const auto all = call({"compare", path(one), path(two), path(three), "--all"});
    CHECK(all.status == 0);
    CHECK(all.out.size() > table.out.size());
    CHECK(all.out.find("--all") == std::string::npos);
    CHECK(all.out.find(" -0 ") == std::string::npos);

    const auto job = call({"compare", path(one), "--microphone", "b", "--microphone", "c", "--json", "-"});
    REQUIRE(job.status == 0);
    CHECK(job.parsed()["of"] == "microphones");
    CHECK(job.parsed()["takes"][1]["name"] == "c");

    // By hand: b of the first is c of the second, which has the same sign.
    const auto hand = call({"compare", path(one), path(three), "--match", "b=d", "--json", "-"});
    REQUIRE(hand.status == 0);
    CHECK(hand.parsed()["tracks"][1]["matchedBy"] == "hand");
    CHECK(hand.parsed()["tracks"][1]["inTakes"][1]["name"] == "d");

    for (const char* name : {"01 a.wav", "02 b.wav"})
        writeWav(silent.path() / name, std::vector<float>(48000));
    writeWav(brief.path() / "01 a.wav", noise(300, 1));
    writeWav(other.path() / "01 oboe.wav", noise(sixSeconds, 1));
    for (const auto& [second, what] :
         {std::pair(path(one), "is named twice"), std::pair(path(silent), "silent"),
          std::pair(path(brief), "too short to compare"), std::pair(path(other), "no track in common"),
          std::pair(path(one) + "/absent", "")}) {
        const auto bad = call({"compare", path(one), second});
        CHECK(bad.status == 1);
        CHECK(bad.out.empty());
        const auto last = bad.err.substr(bad.err.rfind("spillwright-cli: "));
        CHECK(last.find(what) != std::string::npos);
        CHECK(last.find("; ") != std::string::npos);
    }
    for (const auto& [words, line] : std::vector<std::pair<std::vector<std::string>, std::string>>{
             {{"compare", path(one)}, path(one) + ": is one take alone; "},
             {{"compare", path(one), path(two), "--microphone", "a", "--microphone", "b"},
              "--microphone: is asked of one recording, and 2 are named; "},
             {{"compare", path(one), "--microphone", "a"}, "--microphone: names one track; "},
             {{"compare", path(one), path(two), "--match", "a"}, "--match: 'a' is no TRACK=TRACK; "},
             {{"compare", path(one), "--microphone", "a", "--microphone", "b", "--match", "a=b"},
              "--match: is between takes, and microphones of one recording are compared; "}}) {
        const auto bad = call(words);
        CHECK(bad.status == 2);
        CHECK(bad.out.empty());
        CHECK(bad.err.find(line) != std::string::npos);
    }
    const auto own = call({"compare", path(one), path(two), "--json", (two.path() / "01 a.wav").string()});
    CHECK(own.status == 1);
    CHECK(own.err.find("never written to") != std::string::npos);
}

TEST_CASE("the command line lists the lessons, prints a page, and writes it with sounds, one's own track among them") {
    const auto list = call({"lesson"});
    REQUIRE(list.status == 0);
    CHECK(list.out.find("three to one  (4)\n    Three to one, and why it works\n") != std::string::npos);
    const auto page = call({"lesson", "three to one"});
    REQUIRE(page.status == 0);
    CHECK(page.out.find("Three to one, and why it works\n") == 0);
    CHECK(call({"lesson", "4"}).out == page.out);
    CHECK(call({"lesson", "Three to one, and why it works"}).out == page.out);
    CHECK(page.out.find("distances 1 : 3.00; crests 2.5 dB, nulls -3.5 dB") != std::string::npos);

    TemporaryFolder folder;
    writeBand(folder);
    const auto to = folder / "lesson";
    const auto written = call({"lesson", "a level difference fills the notch", "--to", to.string(), "--recording",
                               folder.path().string(), "--track", "a", "--from", "5"});
    INFO(written.err);
    REQUIRE(written.status == 0);
    CHECK(written.out == to.string() +
                             ": page.txt, lesson.json and the sound of 8 steps, each as the sum in stereo and "
                             "as every microphone hears it\n");
    const auto late = call({"lesson", "4", "--to", (folder / "late").string(), "--recording", folder.path().string(),
                            "--track", "a", "--from", "100"});
    CHECK(late.status == 1);
    CHECK_THAT(late.err, Catch::Contains("--from: lies past the end of the recording; it lasts 6.00 s"));
    CHECK(contentOf(to / "page.txt").find("A level difference fills the notch\n") == 0);
    CHECK(std::filesystem::file_size(to / "08 sum.wav") > 6 * 48000);     // one second in stereo, 24 bits
    CHECK(std::filesystem::file_size(to / "08 sum.wav") < 2 * 6 * 48000); // and its tail
    // A lesson file of one's own is taken like any other.
    const auto again = call({"lesson", (to / "lesson.json").string()});
    CHECK(again.status == 0);
    CHECK(again.out == contentOf(to / "page.txt"));
    const auto drums = call({"lesson", (to / "lesson.json").string(), "--sound", "drums"});
    CHECK(drums.out.find("Sound: drums\n") != std::string::npos);
}

TEST_CASE("the command line writes the manual as pages") {
    TemporaryFolder folder;
    const auto to = folder.path() / "manual";
    const auto written = call({"manual", "--to", to.string()});
    CHECK(written.status == 0);
    CHECK(written.err.empty());
    CHECK_THAT(contentOf(to / "index.html"), Catch::Contains("01-starting.html"));
    CHECK_THAT(contentOf(to / "01-starting.html"), Catch::Contains("<img src=\"window.png\""));
    CHECK(contentOf(to / "window.png").substr(1, 3) == "PNG");
}
