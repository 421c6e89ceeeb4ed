#pragma once

#include "Audition/Mix.h"
#include "Audition/StandIn.h"
#include "Audition/TripleBuffer.h"

#include <atomic>
#include <cstdint>

namespace spillwright {

/// A stretch of the recording, in samples, that is played round and round.
struct Loop {
    std::int64_t from = 0;
    std::int64_t to = 0; ///< One past the last.
};

/// What the message thread, the loading thread and the audio thread know of each other.
struct PlayState {
    explicit PlayState(std::size_t tracks) : mix(Mix(tracks)) {}

    // ---- wishes: the message thread writes
    TripleBuffer<Mix> mix;                         ///< Read by the audio thread.
    TripleBuffer<Loop> loop;                       ///< Read by the audio thread.
    std::atomic<StandIn*> standIn{nullptr};        ///< Taken by the audio thread, which then tells when it lets go.
    std::atomic<bool> play{false};                 ///< Also cleared by the loading thread when a file fails.
    std::atomic<std::int64_t> seek{nowhere};       ///< Taken back by the audio thread when it is there.
    std::atomic<float> beginsAt{1.0f};             ///< Level at which the curtain opens the next time, 0 .. 1; rises.
    std::atomic<std::int64_t> loopFrom{0};         ///< Read by the loading thread.
    std::atomic<std::int64_t> before{0}, after{0}; ///< Samples that the mixes may need on either side; likewise.

    // ---- facts: the audio thread writes
    std::atomic<std::int64_t> position{0}; ///< Sample of the recording that is heard next.
    std::atomic<bool> sounding{false};     ///< The curtain is not quite closed.
    std::atomic<std::int64_t> dropouts{0};

    static constexpr std::int64_t nowhere = -1;
    static_assert(std::atomic<std::int64_t>::is_always_lock_free && std::atomic<StandIn*>::is_always_lock_free);
};

} // namespace spillwright
