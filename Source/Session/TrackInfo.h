#pragma once

#include <cstdint>
#include <optional>
#include <string>

namespace spillwright {

enum class TrackState { ok, silent, unreadable };

/// What is known of a track before and after it was measured. One channel of one file.
struct TrackInfo {
    std::string name;            ///< Unique in the recording.
    std::string file;            ///< File name within the folder.
    int channel = 0;             ///< Channel of the file, 0 = first.
    std::optional<int> linkedTo; ///< The track at the other side of a stereo pair.
    TrackState state = TrackState::ok;
    std::string why; ///< For unreadable: the reason.
    std::optional<double> resampledFromHz;
    std::int64_t lengthSamples = 0; ///< Of this track at the recording's rate, before padding.
    bool isRight = false;           ///< The right side of a linked pair.
};

/// -1 left .. +1 right: linked pairs fully left and right, others in the centre.
inline double defaultPan(const TrackInfo& track) {
    return track.linkedTo ? (track.isRight ? 1.0 : -1.0) : 0.0;
}

} // namespace spillwright
