#include "Bench/KeptScenes.h"

#include "Support/MemorySource.h"

#include <fstream>
#include <string>
#include <type_traits>
#include <utility>

namespace spillwright::bench {

namespace {

/// One order of all that is kept, for writing and for reading.
class Kept {
public:
    Kept(const std::filesystem::path& file, bool writes)
        : stream(file, writes ? std::ios::binary | std::ios::out | std::ios::trunc : std::ios::binary | std::ios::in),
          writing(writes) {}

    bool good() const { return stream.good(); }
    bool bytes(std::span<std::byte> of) {
        if (writing)
            stream.write(reinterpret_cast<const char*>(of.data()), std::ssize(of));
        else
            stream.read(reinterpret_cast<char*>(of.data()), std::ssize(of));
        return stream.good();
    }
    template <class Value>
    void visit(Value& value) {
        static_assert(std::is_trivially_copyable_v<Value>);
        bytes(std::as_writable_bytes(std::span(&value, 1)));
    }
    void visit(std::string& text) { visitAll(text); }
    void visit(SpillScene::Source& source) {
        visit(source.name);
        visit(source.closeTracks);
        visit(source.alwaysWith);
    }
    void visit(SpillScene::Track& track) {
        visit(track.name);
        visit(track.role);
        visit(track.energies);
    }
    void visit(SpillPath& path) {
        visit(path.energies);
        visit(path.polarity);
        visit(path.arrivalSeconds);
        visit(path.directShare);
    }
    template <class Value>
    void visit(std::vector<Value>& values) {
        visitAll(values);
    }
    void visit(SpillScene& scene) {
        visit(scene.name);
        visit(scene.decaySeconds);
        visit(scene.seconds);
        visit(scene.sources);
        visit(scene.tracks);
        visit(scene.paths);
    }

private:
    std::fstream stream;
    bool writing;

    template <class Values>
    void visitAll(Values& values) {
        std::size_t count = values.size();
        visit(count);
        if (!good()) return;
        values.resize(count);
        for (auto& value : values)
            visit(value);
    }
};

} // namespace

Result<MeasuredScene> measuredScene(std::uint64_t set, int kind, const std::filesystem::path& soundBank,
                                    const std::filesystem::path& folder, Workers& workers) {
    const auto file = folder / (std::to_string(set) + "-" + std::to_string(kind));
    if (!folder.empty() && std::filesystem::exists(file)) {
        Kept kept(file, false);
        SpillScene scene;
        kept.visit(scene);
        std::int64_t samples = 0;
        kept.visit(samples);
        if (auto spectra = CrossSpectra::load(static_cast<int>(scene.tracks.size()), SpillScene::rate, 0, samples,
                                              [&](std::span<std::byte> into) { return kept.bytes(into); }))
            return MeasuredScene{std::move(scene), std::move(*spectra)};
    }
    auto scene = makeSpillScene(set, kind, soundBank);
    if (!scene) return scene.fault();
    std::vector<std::vector<float>> tracks;
    for (auto& track : scene->tracks)
        tracks.push_back(std::exchange(track.samples, {}));
    const test::MemorySource source(std::move(tracks), SpillScene::rate);
    auto spectra = computeCrossSpectra(source, {}, workers, {});
    if (!spectra) return spectra.fault();
    if (!folder.empty()) {
        std::filesystem::create_directories(folder);
        Kept kept(file, true);
        kept.visit(*scene);
        std::int64_t samples = source.length();
        kept.visit(samples);
        std::vector<std::byte> part;
        spectra->store([&](std::span<const std::byte> bytes) {
            part.assign(bytes.begin(), bytes.end());
            return kept.bytes(part);
        });
    }
    return MeasuredScene{std::move(scene).value(), std::move(spectra).value()};
}

} // namespace spillwright::bench
