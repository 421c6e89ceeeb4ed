// Two takes of one band in one room, for takes_compared.py: the second 0.75 s later and 6 dB softer, with one
// microphone moved and another one inverted. Usage: spillwright_write_takes FOLDER_A FOLDER_B

#include "Support/TakenBand.h"
#include "Support/TestWav.h"

#include <cstdio>
#include <filesystem>
#include <string>

using namespace spillwright;
using namespace spillwright::test;

namespace {

void write(const std::filesystem::path& folder, const TakenBand& band, double leadSeconds, float gain,
           Workers& workers) {
    TakenBand::Playing playing;
    playing.seed = 52;
    playing.seconds = 14.0;
    const auto tracks = band.record(playing, workers);
    std::filesystem::create_directories(folder);
    for (std::size_t t = 0; t < tracks.size(); ++t) {
        std::vector<float> samples(static_cast<std::size_t>(leadSeconds * TakenBand::rate), 0.0f);
        for (const float sample : tracks[t])
            samples.push_back(gain * sample);
        writeWav(folder / ((t < 9 ? "0" : "") + std::to_string(t + 1) + " " + band.names[t] + ".wav"), samples);
    }
}

} // namespace

int main(int count, char** words) {
    if (count != 3) {
        std::fprintf(stderr, "usage: %s FOLDER_A FOLDER_B\n", words[0]);
        return 2;
    }
    Workers workers;
    TakenBand band(5);
    write(words[1], band, 0.0, 1.0f, workers);
    band.move(TakenBand::overheadL, 0.2, 3);
    band.at(TakenBand::tom).faults.inverted = true;
    write(words[2], band, 0.75, 0.5f, workers);
    return 0;
}
