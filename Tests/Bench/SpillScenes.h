#pragma once

#include "Core/Result.h"
#include "Core/Types.h"

#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace spillwright::bench {

/// The truth of one source in one track.
struct SpillPath {
    std::vector<double> energies; ///< Of the source alone in the track, direct sound and reverberation together: one a
                                  ///< third octave of spillBand, Hann windows of 16384 samples, half overlapped.
    std::optional<Polarity> polarity; ///< Of the straight way; none in the null of a pattern.
    double arrivalSeconds = 0.0;      ///< Of the straight way, after the sound left the source.
    double directShare = 0.0;         ///< Of the impulse response's energy: the straight way's; at most 1.

    double energy() const;
    double lowMidEnergy() const; ///< The third octaves 200 to 500 Hz.
};

/// A session with known truth: who plays, and how much of each every track holds.
struct SpillScene {
    static constexpr double rate = 48000.0;

    struct Source {
        std::string name;
        std::vector<int> closeTracks;  ///< None: a loud one that nobody put a microphone to.
        std::optional<int> alwaysWith; ///< A source that plays the same notes at the same times, always.
    };
    /// What a track is; `either` where both answers are right: overheads when a source of theirs has no close track.
    enum class Role { close, room, either };
    struct Track {
        std::string name;
        Role role = Role::close;
        std::vector<float> samples;
        std::vector<double> energies; ///< Of the whole, as in SpillPath.
    };

    std::string name;
    double decaySeconds = 0.0; ///< RT60 that the surfaces were chosen for (Eyring).
    double seconds = 0.0;
    std::vector<Source> sources;
    std::vector<Track> tracks;
    std::vector<std::vector<SpillPath>> paths; ///< [source][track]

    /// Of the track's energy within spillBand.
    double shareOfTrack(int source, int track) const;
    /// The level of a source in a track against another track, all of spillBand.
    Decibels level(int source, int track, int reference) const;
    Decibels levelLowMid(int source, int track, int reference) const;
    /// Positive: later than in the reference.
    double arrivalSeconds(int source, int track, int reference) const;
    std::optional<Polarity> polarity(int source, int track, int reference) const;
    /// The source of which a track is a close one.
    std::optional<int> closeTo(int track) const;
};

/// Third octaves 100 Hz to 8 kHz.
inline const Band spillBand{Hertz(std::pow(10.0, 1.95)), Hertz(std::pow(10.0, 3.95))};

/// How many kinds of session there are.
int spillSceneKinds();

/// The session of a kind (0..spillSceneKinds()-1), the same for the same set on every machine with the same sound bank:
/// image-source rooms of RT60 0.2 to 0.8 s, 3 to 19 players of sampled instruments, each with a part of its own over
/// common bars, 5 to 27 tracks, 30 to 120 s. Close microphones at 4 to 60 cm, several to one source, direct lines,
/// overheads, room microphones; omni, cardioid, figure of eight; either polarity; noise 50 to 75 dB below.
/// 2 to 40 s each on one core, and 4 bytes a sample. Faults: those of the players.
Result<SpillScene> makeSpillScene(std::uint64_t set, int kind, const std::filesystem::path& soundBank);

} // namespace spillwright::bench
