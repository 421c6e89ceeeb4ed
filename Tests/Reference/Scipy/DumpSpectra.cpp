// Writes the cross-spectra of a folder for comparison with other programs:
//
//     spillwright_dump_spectra FOLDER OUT.json
//
// OUT.json says how they were made; OUT.json.f64 holds them as doubles of this machine's order: for each pair i <= j of
// tracks, row by row, real and imaginary part of S_ij = <X_i conj(X_j)> at each bin.

#include "Core/Measure/CrossSpectra.h"
#include "Media/Recording.h"

#include <nlohmann/json.hpp>

#include <cstdio>
#include <fstream>

using namespace spillwright;

int main(int argc, char** argv) {
    if (argc != 3) {
        std::fprintf(stderr, "spillwright_dump_spectra FOLDER OUT.json\n");
        return 2;
    }
    const auto recording = Recording::open(argv[1]);
    if (!recording) {
        std::fprintf(stderr, "%s\n", recording.fault().line().c_str());
        return 1;
    }
    Workers workers;
    const auto spectra = computeCrossSpectra(**recording, {}, workers, {});
    if (!spectra) {
        std::fprintf(stderr, "%s\n", spectra.fault().line().c_str());
        return 1;
    }
    nlohmann::ordered_json about{{"sampleRate_Hz", spectra->sampleRate()},
                                 {"windowLength", spectra->windowLength()},
                                 {"windows", spectra->windows()},
                                 {"binCount", spectra->binCount()}};
    for (const auto& track : (*recording)->tracks())
        about["tracks"].push_back({{"name", track.name}, {"file", track.file}, {"channel", track.channel}});
    std::ofstream(argv[2]) << about.dump(1) << '\n';
    std::ofstream values(std::string(argv[2]) + ".f64", std::ios::binary);
    for (int i = 0; i < spectra->trackCount(); ++i)
        for (int j = i; j < spectra->trackCount(); ++j)
            for (int bin = 0; bin < spectra->binCount(); ++bin) {
                const auto value = spectra->at(bin, i, j);
                values.write(reinterpret_cast<const char*>(&value), sizeof value);
            }
    return values.flush() ? 0 : 1;
}
