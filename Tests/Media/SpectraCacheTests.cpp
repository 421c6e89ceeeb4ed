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

    const auto halfWritten = kept.path() / ".left behind.part";
    std::ofstream(halfWritten) << "by a program that was killed";
    keep(2);
    CHECK(fs::exists(halfWritten)); // it may be another's who is still at it
    fs::last_write_time(halfWritten, fs::last_write_time(halfWritten) - std::chrono::hours(2));
    keep(2);
    CHECK_FALSE(fs::exists(halfWritten));

    const SpectraCache small(kept.path(), one);
    keep(0);
    small.keep(*recordings[1].recording, *recordings[1].spectra); // more than half of its bound
    CHECK_FALSE(found(small, *recordings[1].recording));
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
