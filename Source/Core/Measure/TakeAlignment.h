#pragma once

#include "Core/SampleSource.h"
#include "Core/Types.h"
#include "Core/Workers.h"

#include <optional>
#include <vector>

namespace spillwright {

/// The same place of the music in another take.
struct AlignedPlace {
    Seconds time;
    double confidence =
        0.0; ///< 0..1: how much better the two agree around it than music does by chance; sure from 0.5.
};

/// Which moment of one take is which of the other, by their own sound. Immutable.
class TakeAlignment {
public:
    /// nullopt: that moment is not in the other take, or nothing was played.
    std::optional<AlignedPlace> inSecond(Seconds ofFirst) const;
    std::optional<AlignedPlace> inFirst(Seconds ofSecond) const;

    double confidence() const { return whole; } ///< The median along the way, 0..1.
    Seconds step() const { return grid; }       ///< Places are told to about this.

private:
    friend Result<TakeAlignment> alignTakes(const SampleSource&, const SampleSource&, Workers&, const Watch&);
    struct Point {
        double first, second, confidence; // s, s
    };
    std::vector<Point> points; // ascending in both
    double whole = 0.0;
    Seconds grid;
    template <class From, class To>
    std::optional<AlignedPlace> at(double time, const From& from, const To& to) const;
};

/// Reads both takes whole, sums each one's tracks, and tells every 21 ms (more in takes beyond two minutes) which notes
/// of the scale sound, how loud eight bands are against their usual, and which of them begin. Dynamic time warping with
/// steps (1,1), (1,2) and (2,1), so that either may be played up to twice as fast (Sakoe & Chiba 1978, from memory);
/// the shorter take lies anywhere within the longer. Agreement is held against that of the shorter take played
/// backwards.
///
/// 30 s of 24 tracks: some tenths of a second; memory: at most 36 MiB, whatever the length. Same result for any number
/// of workers. Faults: a take that cannot be read, a stop.
Result<TakeAlignment> alignTakes(const SampleSource& first, const SampleSource& second, Workers& workers,
                                 const Watch& watch);

} // namespace spillwright
