#pragma once

#include "Core/Result.h"
#include "Core/Types.h"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace spillwright::bench {

/// Two microphones in a room, what they recorded, and what a reading of the two ought to say.
struct RandomPair {
    // How it was made.
    std::string lead;        ///< The instrument meant to lead.
    std::string rivals;      ///< Those beside it; empty where it plays alone.
    double decaySeconds = 0; ///< RT60 that the surfaces were chosen for (Eyring).
    double seconds = 0;      ///< Length.
    double noiseDb = 0;      ///< The lead above each microphone's noise.
    bool low = false;        ///< The true source is a low instrument: bass, kick, low brass ...

    // The truth.
    int source = 0;              ///< 0: the lead; else a rival whose direct sound is stronger in the two together.
    double arrivalSeconds = 0.0; ///< Of its straight ways; positive: the second hears it later.
    Polarity polarity{};         ///< Of its straight ways.
    double aheadDb = 0.0;        ///< Its energy over all others', in the track where that is less; 99: alone.
    double directShare = 0.0;    ///< Of its energy: the straight way's, geometric mean of the two tracks.
    double aboveNoiseDb = 0.0;   ///< Its energy over the noise, in the track where that is less.

    std::vector<float> first, second; ///< 48 kHz.
    static constexpr double rate = 48000.0;

    /// One source leads both tracks: 3 dB above all others together. Noise is no source.
    bool led() const { return aheadDb >= 3.0; }
    /// Led, with no more noise than that source in either track and a direct sound of a tenth of its energy or more:
    /// the truth is that of the direct sound, and both microphones well beyond the critical distance hear it no more.
    bool clear() const { return led() && aboveNoiseDb >= 0.0 && directShare >= 0.1; }
    /// Live rooms and short recordings.
    bool hard() const { return decaySeconds > 0.7 && seconds <= 15.0; }
};

/// The same pair for the same set and index, on every machine with the same sound bank. Shoebox rooms of RT60 0.2 to
/// 1.1 s with rough surfaces; 2 to 60 s of sampled instruments, each with a tune of its own; alone, or with up to three
/// rivals at -20 to +6 dB; 10 dB of noise more, to 50 dB less, than the lead in each track; omni, cardioid and
/// figure-of-eight microphones close and far; either relative polarity; a fifth with a recorder's latency.
/// About 0.3 s each. Faults: those of the players.
Result<RandomPair> makeRandomPair(std::uint64_t set, std::uint64_t index, const std::filesystem::path& soundBank);

} // namespace spillwright::bench
