#include "Media/SpectraCache.h"

#include "Session/Files.h"

#include <xxhash.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdlib>
#include <cstring>
#include <string>
#include <vector>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

constexpr const char* ending = ".spectra";
constexpr std::string_view magic = "spillwright spectra ";
constexpr std::size_t endBytes = 1 << 16; // hashed at either end of an audio file

struct HashState {
    XXH3_state_t* state = XXH3_createState();
    HashState() { XXH3_64bits_reset(state); }
    ~HashState() { XXH3_freeState(state); }
    HashState(const HashState&) = delete;
    HashState& operator=(const HashState&) = delete;
    void add(std::span<const std::byte> bytes) { XXH3_64bits_update(state, bytes.data(), bytes.size()); }
    std::uint64_t value() const { return XXH3_64bits_digest(state); }
};

std::string hexadecimal(std::uint64_t value) {
    std::array<char, 17> text{};
    std::snprintf(text.data(), text.size(), "%016llx", static_cast<unsigned long long>(value));
    return text.data();
}

/// What tells this recording and stretch from every other. nullopt: a file is no longer there.
std::optional<std::string> factsOf(const Recording& recording, std::int64_t from, std::int64_t to) {
    std::string facts = "version " + std::to_string(CrossSpectra::storedVersion) + ", stretch " + std::to_string(from) +
                        " " + std::to_string(to) + ", rate " + std::to_string(recording.sampleRate()) + ", tracks " +
                        std::to_string(recording.trackCount()) + "\n";
    std::vector<std::byte> bytes(endBytes);
    for (const auto& file : recording.files()) {
        std::error_code error;
        const auto changed = fs::last_write_time(file.path, error);
        auto input = InputFile::open(file.path);
        if (error || !input) return std::nullopt;
        HashState hash;
        const auto size = input->size();
        hash.add({bytes.data(), input->readAt(0, bytes)});
        hash.add({bytes.data(), input->readAt(size - std::min<std::uint64_t>(size, endBytes), bytes)});
        facts += shownPath(file.path.filename()) + " " + std::to_string(size) + " " +
                 std::to_string(changed.time_since_epoch().count()) + " " + hexadecimal(hash.value()) + " at " +
                 std::to_string(file.startsAt);
        for (const int track : file.tracks)
            facts += " " + std::to_string(track);
        facts += "\n";
    }
    return facts;
}

template <class Number>
std::span<const std::byte> bytesOf(const Number& number) {
    return std::as_bytes(std::span(&number, 1));
}

} // namespace

fs::path usualCacheFolder() {
    const auto named = [](const char* variable) {
        const char* value = std::getenv(variable);
        return value ? fs::path(value) : fs::path();
    };
#if defined(_WIN32)
    const fs::path base = named("LOCALAPPDATA");
#elif defined(__APPLE__)
    const fs::path home = named("HOME");
    const fs::path base = home.empty() ? fs::path() : home / "Library" / "Caches";
#else
    fs::path base = named("XDG_CACHE_HOME"); // must be absolute to count
    if (!base.is_absolute()) {
        const fs::path home = named("HOME");
        base = home.empty() ? fs::path() : home / ".cache";
    }
#endif
    return base.empty() ? base : base / "spillwright";
}

SpectraCache::SpectraCache(fs::path keptIn, std::uintmax_t mostBytes) : folder(std::move(keptIn)), bound(mostBytes) {}

fs::path SpectraCache::place(const std::string& facts) const {
    return folder / (hexadecimal(XXH3_64bits(facts.data(), facts.size())) + ending);
}

std::shared_ptr<const CrossSpectra> SpectraCache::find(const Recording& recording, std::int64_t from,
                                                       std::int64_t to) const {
    if (folder.empty()) return nullptr;
    const auto facts = factsOf(recording, from, to);
    if (!facts) return nullptr;
    const auto path = place(*facts);
    auto file = InputFile::open(path);
    if (!file) return nullptr;

    const std::string head = std::string(magic) + *facts;
    std::vector<char> found(head.size());
    std::uint64_t at = file->readAt(0, std::as_writable_bytes(std::span(found)));
    if (at != head.size() || !std::equal(found.begin(), found.end(), head.begin())) return nullptr;
    const std::uint64_t end = file->size() - std::min<std::uint64_t>(file->size(), sizeof(std::uint64_t));
    HashState hash;
    auto spectra = CrossSpectra::load(recording.trackCount(), recording.sampleRate(), from, to, [&](auto out) {
        if (at + out.size() > end || file->readAt(at, out) != out.size()) return false;
        hash.add(out);
        at += out.size();
        return true;
    });
    std::uint64_t sum = 0;
    if (!spectra || at != end || file->readAt(end, std::as_writable_bytes(std::span(&sum, 1))) != sizeof sum ||
        sum != hash.value())
        return nullptr;
    std::error_code ignored;
    fs::last_write_time(path, fs::file_time_type::clock::now(), ignored); // used again: the last to go
    return std::make_shared<const CrossSpectra>(std::move(*spectra));
}

void SpectraCache::keep(const Recording& recording, const CrossSpectra& spectra) const {
    if (folder.empty() || spectra.storedBytes() > bound / 2) return;
    const auto facts = factsOf(recording, spectra.from(), spectra.to());
    if (!facts) return;
    makeOwnFolder(folder);
    auto file = OutputFile::create(place(*facts));
    if (!file) return;
    const std::string head = std::string(magic) + *facts;
    if (!file->write(std::as_bytes(std::span(head)))) return;
    HashState hash;
    const bool stored = spectra.store([&](std::span<const std::byte> bytes) {
        hash.add(bytes);
        return bool(file->write(bytes));
    });
    if (!stored || !file->write(bytesOf(hash.value())) || !file->close() || !file->keep()) return;
    makeRoom();
}

std::vector<SpectraCache::Kept> SpectraCache::files() const {
    std::vector<Kept> found;
    std::error_code error;
    for (fs::directory_iterator entry(folder, error); !error && entry != fs::directory_iterator();
         entry.increment(error)) {
        std::error_code gone;
        if (!entry->is_regular_file(gone)) continue;
        const Kept file{entry->path(), entry->file_size(gone), entry->last_write_time(gone)};
        if (gone) continue;
        if (file.path.extension() == ending) found.push_back(file);
    }
    return found;
}

std::uintmax_t SpectraCache::bytes() const {
    std::uintmax_t total = 0;
    for (const auto& file : files())
        total += file.bytes;
    return total;
}

void SpectraCache::clear() const {
    for (const auto& file : files()) {
        std::error_code ignored;
        fs::remove(file.path, ignored);
    }
}

/// The longest unused go until the rest fits.
void SpectraCache::makeRoom() const {
    auto kept = files();
    std::uintmax_t total = bytes();
    std::sort(kept.begin(), kept.end(), [](const Kept& a, const Kept& b) { return a.used < b.used; });
    for (const auto& file : kept) {
        if (total <= bound) return;
        std::error_code ignored;
        fs::remove(file.path, ignored);
        total -= file.bytes;
    }
}

} // namespace spillwright
