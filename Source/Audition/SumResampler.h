#pragma once

#include "Core/Types.h"

#include <memory>
#include <vector>

namespace spillwright {

/// Brings the finished stereo sum from the recording's rate to the device's (the sum is linear, so one conversion
/// serves all tracks). libsoxr, high quality. After the constructor nothing is allocated: the stream is run in there
/// until its buffers have reached their size, and from then on is fed in steps of one size.
class SumResampler {
public:
    SumResampler(double fromRate, double toRate);
    ~SumResampler();

    static constexpr int step = 256; ///< Samples in at a time.

    /// [audio thread] `feed(left, right)` is called as often as needed to give `step` samples at the first rate.
    template <class Feed>
    void pull(const Feed& feed, float* left, float* right, int count) {
        for (int done = 0; done < count;) {
            if (available() == 0) {
                feed(inLeft.data(), inRight.data());
                convert();
            }
            done += give(left + done, right + done, count - done);
        }
    }

    /// [audio thread, or whoever keeps it away] What was fed last is given out so much later; between feeds it falls.
    Seconds delay() const;

private:
    void convert();
    int available() const { return outEnd - outBegin; }
    int give(float* left, float* right, int most);

    struct Stream;
    std::unique_ptr<Stream> stream;
    const double outRate;
    std::vector<float> inLeft, inRight, outLeft, outRight;
    int outBegin = 0, outEnd = 0;
};

} // namespace spillwright
