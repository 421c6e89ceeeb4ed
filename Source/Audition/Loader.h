#pragma once

#include "Audition/PlayState.h"
#include "Audition/SongBlocks.h"
#include "Core/SampleSource.h"

#include <array>
#include <atomic>
#include <memory>
#include <mutex>
#include <optional>
#include <semaphore>
#include <span>
#include <thread>
#include <vector>

namespace spillwright {

/// A thread that keeps in memory what will be heard next: around the position, around a place that was asked for, and
/// at the head of the loop.
class Loader {
public:
    struct Reach {
        Seconds ahead = Seconds(3.0); ///< Kept ready past the position ...
        Seconds head = Seconds(1.0);  ///< ... past the head of the loop and a place that was asked for ...
        Seconds start = Seconds(0.5); ///< ... and at least before sound begins.
    };
    /// What some 150 MB of samples hold, with nudges to 100 ms; a quarter of the above at least. All of it for 64
    /// tracks at 48 kHz.
    static Reach reachFor(int tracks, double sampleRate);

    /// Slots that `blocks` needs so that all this fits, for `before` and `after` samples of margin.
    static int slotsFor(const Reach& reach, double sampleRate, std::int64_t before, std::int64_t after);

    Loader(std::shared_ptr<const SampleSource> source, SongBlocks& blocks, PlayState& state, const Reach& reach);
    ~Loader();

    void wake();                        ///< [message thread] There is a new wish.
    std::optional<Fault> fault() const; ///< [message thread] Why loading stopped.
    void retry();                       ///< [message thread] Opens the files again after a fault.

    /// [message thread] All but what lies far ahead is in memory.
    bool caughtUp() const;
    /// [any thread] The same, were this the position. Wait-free, allocates nothing.
    bool readyAt(std::int64_t sample) const;

    /// [any thread] A file failed; nothing more comes.
    bool failed() const { return hasFailed.load(std::memory_order_acquire); }

private:
    struct Stretch {
        std::int64_t first, last; ///< Blocks, both included.
    };
    /// Most urgent first; the last is what lies far ahead.
    std::array<Stretch, 4> wanted() const;
    void run(const std::stop_token& stop);
    Outcome openReaders();
    Outcome loadNext(bool& loaded);
    void fail(const Fault& fault);
    Stretch around(std::int64_t sample, Seconds ahead) const;
    bool holds(const Stretch& stretch) const;

    std::shared_ptr<const SampleSource> source;
    const Reach reach;
    SongBlocks& blocks;
    PlayState& state;
    std::vector<std::unique_ptr<GroupReader>> readers;
    std::vector<float*> destinations;
    std::atomic<bool> hasFailed{false};
    mutable std::mutex faultMutex; // message and loading thread only
    std::optional<Fault> lastFault;
    std::counting_semaphore<> wishes{0};
    std::jthread thread; // last: it uses all of the above
};

} // namespace spillwright
