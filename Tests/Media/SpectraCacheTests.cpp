#include "Media/SpectraCache.h"

#include "Support/TemporaryFolder.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <cstring>
#include <fstream>

using namespace spillwright;
using namespace spillwright::test;
namespace fs = std::filesystem;

namespace {

struct Measured {
    std::shared_ptr<const Recording> recording;
    std::optional<CrossSpectra> spectra;
};

Measured measured(const fs::path& folder) {
    Measured m;
    auto opened = Recording::open(folder);
    REQUIRE(opened);
    m.recording = *opened;
    Workers workers(1);
    auto spectra = computeCrossSpectra(*m.recording, {}, workers, {});
    REQUIRE(spectra);
    m.spectra.emplace(std::move(*spectra));
    return m;
}

std::shared_ptr<const CrossSpectra> found(const SpectraCache& cache, const Recording& recording) {
    return cache.find(recording, 0, recording.length());
}

std::vector<std::byte> bytesOf(const CrossSpectra& spectra) {
    std::vector<std::byte> all;
    REQUIRE(spectra.store([&](std::span<const std::byte> part) {
        all.insert(all.end(), part.begin(), part.end());
        return true;
    }));
    return all;
}

std::string contentOf(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

/// Two tracks of noise, four seconds.
void writeTracks(const fs::path& folder, unsigned seed) {
    writeWav(folder / "1 one.wav", noise(4 * 48000, seed));
    writeWav(folder / "2 two.wav", noise(4 * 48000, seed + 1));
}

std::vector<fs::path> filesIn(const fs::path& folder) {
    std::vector<fs::path> files;
    for (const auto& entry : fs::directory_iterator(folder))
        files.push_back(entry.path());
    return files;
}

/// A recording that was measured and kept.
struct KeptRecording {
    TemporaryFolder folder, kept;
    SpectraCache cache{kept.path()};
    Measured first = [this] {
        writeTracks(folder.path(), 1);
        return measured(folder.path());
    }();
    KeptRecording() { cache.keep(*first.recording, *first.spectra); }
};

} // namespace

TEST_CASE("an unchanged recording gets back the very spectra that were kept") {
    TemporaryFolder folder, kept;
    writeTracks(folder.path(), 1);
    const SpectraCache cache(kept.path() / "made when needed");
    const auto first = measured(folder.path());
    CHECK_FALSE(found(cache, *first.recording));
    cache.keep(*first.recording, *first.spectra);

    const auto again = Recording::open(folder.path());
    REQUIRE(again);
    const auto back = found(cache, **again);
    REQUIRE(back);
    CHECK(bytesOf(*back) == bytesOf(*first.spectra));
    CHECK(back->at(100, 0, 1) == first.spectra->at(100, 0, 1));
    CHECK(back->stretches() == first.spectra->stretches());
    CHECK(back->to() == first.spectra->to());
    CHECK(bytesOf(*back).size() == back->storedBytes());
    CHECK_FALSE(cache.find(**again, 0, (*again)->length() - 1)); // another stretch is another question
}

TEST_CASE("a recording that has changed in any way is measured anew") {
    const KeptRecording of;
    const auto& [folder, kept, cache, first] = of;
    const auto second = folder.path() / "2 two.wav";
    const auto changedAt = fs::last_write_time(second);

    SECTION("other samples of the same length, the time of change put back") {
        writeWav(second, noise(4 * 48000, 77));
        fs::last_write_time(second, changedAt);
    }
    SECTION("another time of change") {
        fs::last_write_time(second, changedAt + std::chrono::seconds(1));
    }
    SECTION("another name") {
        fs::rename(second, folder.path() / "2 three.wav");
    }
    SECTION("one more file") {
        writeWav(folder.path() / "3.wav", noise(48000, 5));
    }
    SECTION("one file fewer") {
        fs::remove(second);
    }
    const auto now = Recording::open(folder.path());
    REQUIRE(now);
    CHECK_FALSE(found(cache, **now));
}

TEST_CASE("a damaged file of the cache is as good as none") {
    const KeptRecording of;
    const auto& [folder, kept, cache, first] = of;
    const auto files = filesIn(kept.path());
    REQUIRE(files.size() == 1);
    const auto size = fs::file_size(files[0]);

    SECTION("one byte in the middle") {
        std::fstream file(files[0], std::ios::in | std::ios::out | std::ios::binary);
        file.seekg(static_cast<std::streamoff>(size / 2));
        const char other = static_cast<char>(file.get() ^ 1);
        file.seekp(static_cast<std::streamoff>(size / 2));
        file.put(other);
    }
    SECTION("cut short") {
        fs::resize_file(files[0], size - 9);
    }
    SECTION("longer than it was") {
        fs::resize_file(files[0], size + 8);
    }
    SECTION("empty") {
        fs::resize_file(files[0], 0);
    }
    SECTION("gone") {
        fs::remove_all(kept.path());
    }
    CHECK_FALSE(found(cache, *first.recording));
    cache.keep(*first.recording, *first.spectra); // and is written anew
    CHECK(found(cache, *first.recording));
}

TEST_CASE("whatever byte is turned and wherever it is cut, a file of the cache is read whole or not at all") {
    const KeptRecording of;
    const auto& [folder, kept, cache, first] = of;
    const auto path = filesIn(kept.path()).at(0);
    const auto whole = contentOf(path);
    const auto given = [&, &recording = *first.recording, &store = cache](const std::string& content) {
        writeBytes(path, content);
        return found(store, recording) != nullptr;
    };
    REQUIRE(given(whole));
    // Every byte of the head and of the checksum, a hundred in between; cut there, and one bit turned there.
    const std::size_t head = whole.find("2 two.wav") + 100;
    std::vector<std::size_t> places;
    for (std::size_t at = 0; at < head; ++at)
        places.push_back(at);
    for (std::size_t part = 0; part < 100; ++part)
        places.push_back(head + (whole.size() - head - 8) * part / 100);
    for (std::size_t at = whole.size() - 8; at < whole.size(); ++at)
        places.push_back(at);
    std::size_t taken = 0;
    for (const auto at : places) {
        auto turned = whole;
        turned[at] = static_cast<char>(turned[at] ^ (1 << at % 8));
        taken += given(turned);
        if (at % 16 == 0) taken += given(whole.substr(0, at));
    }
    CHECK(taken == 0);
    CHECK_FALSE(given(whole + whole));
    CHECK_FALSE(given(whole.substr(0, whole.size() / 2) + whole.substr(whole.size() / 2 + 8))); // eight bytes missing
    CHECK(given(whole));
}

TEST_CASE("what was kept of another recording, stretch or version is not taken under this one's name") {
    const KeptRecording of;
    const auto& [folder, kept, cache, first] = of;
    const auto path = filesIn(kept.path()).at(0);
    const auto whole = contentOf(path);

    // Valid in itself, of other samples, and under the name that this recording is looked for by.
    TemporaryFolder other;
    writeTracks(other.path(), 50);
    const auto second = measured(other.path());
    cache.keep(*second.recording, *second.spectra);
    auto files = filesIn(kept.path());
    REQUIRE(files.size() == 2);
    fs::copy_file(files[0] == path ? files[1] : files[0], path, fs::copy_options::overwrite_existing);
    CHECK_FALSE(found(cache, *first.recording));
    CHECK(found(cache, *second.recording));

    // Its own file with one fact written over: the checksum is of the spectra alone, so the facts themselves must tell.
    for (const auto& [fact, instead] :
         {std::pair<std::string, std::string>{"version " + std::to_string(CrossSpectra::storedVersion), "version 1"},
          {"stretch 0 192000", "stretch 0 191999"},
          {"rate 48000", "rate 44100"},
          {"tracks 2", "tracks 3"},
          {"2 two.wav", "2 owt.wav"}}) {
        auto changed = whole;
        const auto at = changed.find(fact);
        REQUIRE(at != std::string::npos);
        REQUIRE(fact.size() == instead.size());
        changed.replace(at, fact.size(), instead);
        writeBytes(path, changed);
        CAPTURE(fact);
        CHECK_FALSE(found(cache, *first.recording));
    }
    writeBytes(path, whole);
    CHECK(found(cache, *first.recording));
}

TEST_CASE("the cache stays within its bound, and what was used last stays") {
    TemporaryFolder kept;
    TemporaryFolder folders[3];
    std::vector<Measured> recordings;
    for (int n = 0; n < 3; ++n) {
        writeTracks(folders[n].path(), 10 * static_cast<unsigned>(n) + 1);
        recordings.push_back(measured(folders[n].path()));
    }
    const auto one = recordings[0].spectra->storedBytes();
    const SpectraCache cache(kept.path(), one * 5 / 2);
    const auto keep = [&](std::size_t n) { cache.keep(*recordings[n].recording, *recordings[n].spectra); };
    const auto isThere = [&](std::size_t n) { return found(cache, *recordings[n].recording) != nullptr; };
    const auto age = [&](int hours) {
        for (const auto& file : filesIn(kept.path()))
            fs::last_write_time(file, fs::last_write_time(file) - std::chrono::hours(hours));
    };
    keep(0);
    age(1);
    keep(1);
    age(1);
    REQUIRE(isThere(0)); // used again: now the younger one
    keep(2);
    CHECK(isThere(0));
    CHECK_FALSE(isThere(1));
    CHECK(isThere(2));

    const SpectraCache small(kept.path(), one);
    keep(0);
    small.keep(*recordings[1].recording, *recordings[1].spectra); // more than half of its bound
    CHECK_FALSE(found(small, *recordings[1].recording));
}

TEST_CASE("the cache tells how much it holds, and is emptied of its own files alone") {
    const KeptRecording of;
    const auto& [folder, kept, cache, first] = of;
    CHECK(cache.where() == kept.path());
    const auto files = filesIn(kept.path());
    REQUIRE(files.size() == 1);
    CHECK(cache.bytes() == fs::file_size(files.front()));
    std::ofstream(kept.path() / "somebody else's") << "text";
    cache.clear();
    CHECK(cache.bytes() == 0);
    CHECK_FALSE(found(cache, *first.recording));
    CHECK(fs::exists(kept.path() / "somebody else's"));
}

TEST_CASE("where nothing can be kept nothing is, and no trace is left") {
    TemporaryFolder folder, kept;
    writeTracks(folder.path(), 1);
    const auto first = measured(folder.path());
    const SpectraCache none{fs::path()};
    none.keep(*first.recording, *first.spectra);
    CHECK_FALSE(found(none, *first.recording));

    const auto blocked = kept.path() / "a file";
    std::ofstream(blocked) << "in the way";
    const SpectraCache cache(blocked);
    cache.keep(*first.recording, *first.spectra);
    CHECK_FALSE(found(cache, *first.recording));
    CHECK(filesIn(kept.path()).size() == 1);
}
