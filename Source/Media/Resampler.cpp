#include "Media/Resampler.h"

#include <soxr.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <stdexcept>

namespace spillwright {

namespace {

std::int64_t wholeRate(double rate) {
    return std::llround(rate);
}

std::int64_t floorDivide(std::int64_t a, std::int64_t b) {
    return a / b - (a % b < 0 ? 1 : 0);
}

using Buffers = std::vector<std::vector<float>>;

Buffers buffersOf(int channels, int frames) {
    return Buffers(static_cast<std::size_t>(channels), std::vector<float>(static_cast<std::size_t>(frames)));
}

std::vector<float*> pointersInto(Buffers& buffers, int offset = 0) {
    std::vector<float*> pointers;
    for (auto& buffer : buffers)
        pointers.push_back(buffer.data() + offset);
    return pointers;
}

} // namespace

std::int64_t resampledLength(std::int64_t frames, double fromRate, double toRate) {
    const std::int64_t from = wholeRate(fromRate), to = wholeRate(toRate);
    return frames / from * to + (frames % from * to + from - 1) / from; // in two parts: no overflow
}

struct Resampler::Stream {
    static constexpr int inputBlock = 4096;
    static constexpr int outputBlock = 8192;
    static constexpr int memory = 8 * outputBlock; ///< Of what was made: overlapping reads begin no new stream.
    /// How far the filter reaches, in samples of the slower rate: generous: from 256 on nothing differs (linear
    /// phase, pass-band to 0.913 of the Nyquist frequency). That it suffices is tested.
    static constexpr double filterReach = 1024.0;

    Stream(double inputRate, double outputRate, int channelCount, Input inputFunction)
        : rateIn(inputRate), rateOut(outputRate), channels(channelCount), input(std::move(inputFunction)),
          fed(buffersOf(channels, inputBlock)), made(buffersOf(channels, memory)) {
        const std::int64_t in = wholeRate(rateIn), out = wholeRate(rateOut), common = std::gcd(in, out);
        periodIn = in / common;
        periodOut = out / common;
        leadIn = static_cast<std::int64_t>(std::ceil(filterReach * std::max(1.0, rateOut / rateIn)));
    }

    /// A stream whose filter is full when it comes to `frame`. Input and output begin together at a place where samples
    /// of both rates fall together, so that the phase is that of a stream from the beginning.
    void restart(std::int64_t frame) {
        const auto quality = soxr_quality_spec(SOXR_VHQ, SOXR_HI_PREC_CLOCK);
        const auto layout = soxr_io_spec(SOXR_FLOAT32_S, SOXR_FLOAT32_S);
        const auto runtime = soxr_runtime_spec(1);
        soxr_error_t error = nullptr;
        resampler.reset(
            soxr_create(rateIn, rateOut, static_cast<unsigned>(channels), &error, &layout, &quality, &runtime));
        if (error) throw std::runtime_error(error); // out of memory: the rates were checked

        const std::int64_t period = floorDivide(frame - leadIn, periodOut);
        nextIn = period * periodIn;
        fedAt = fedCount = 0;
        madeStart = madeEnd = period * periodOut;
        trueFrom = frame;
    }

    Outcome makeMore() {
        auto kept = static_cast<int>(madeEnd - madeStart);
        if (kept + outputBlock > memory) {
            const int half = memory / 2;
            for (auto& buffer : made)
                std::copy(buffer.begin() + (kept - half), buffer.begin() + kept, buffer.begin());
            madeStart = madeEnd - half;
            kept = half;
        }
        std::size_t got = 0;
        while (got == 0) {
            if (fedAt == fedCount) {
                const auto into = pointersInto(fed);
                if (auto read = input(nextIn, inputBlock, into); !read) {
                    resampler.reset(); // its stream has a gap
                    return read;
                }
                nextIn += inputBlock;
                fedAt = 0;
                fedCount = inputBlock;
            }
            // (soxr's pull interface misplaces separate channels; this one does not.)
            const auto in = pointersInto(fed, fedAt);
            auto out = pointersInto(made, kept);
            std::size_t taken = 0;
            const auto waiting = static_cast<std::size_t>(fedCount - fedAt);
            soxr_process(resampler.get(), in.data(), waiting, &taken, out.data(), outputBlock, &got);
            fedAt += static_cast<int>(taken);
        }
        madeEnd += static_cast<std::int64_t>(got);
        return done();
    }

    struct Delete {
        void operator()(soxr_t s) const { soxr_delete(s); }
    };

    double rateIn, rateOut;
    int channels;
    Input input;
    Buffers fed, made;
    std::int64_t periodIn = 1, periodOut = 1;
    std::int64_t leadIn = 0; ///< Frames of the result that a new stream begins before what is asked for.
    std::unique_ptr<soxr, Delete> resampler;
    std::int64_t nextIn = 0;
    int fedAt = 0, fedCount = 0;             ///< Of `fed`, what soxr has not taken yet.
    std::int64_t madeStart = 0, madeEnd = 0; ///< Frames of the result that `made` holds.
    std::int64_t trueFrom = 0;               ///< Before it the filter was still filling.
};

Resampler::Resampler(double inputRate, double outputRate, int channels, Input input)
    : stream(std::make_unique<Stream>(inputRate, outputRate, channels, std::move(input))) {}

Resampler::~Resampler() = default;

Outcome Resampler::read(std::int64_t start, int count, std::span<float* const> channels) {
    Stream& s = *stream;
    for (int done = 0; done < count;) {
        const std::int64_t frame = start + done;
        const bool ahead = frame >= s.madeEnd && frame - s.madeEnd <= s.leadIn;
        if (!s.resampler || frame < std::max(s.madeStart, s.trueFrom) || (frame >= s.madeEnd && !ahead))
            s.restart(frame);
        while (frame >= s.madeEnd)
            if (auto made = s.makeMore(); !made) return made;
        const auto offset = static_cast<std::size_t>(frame - s.madeStart);
        const auto frames = static_cast<int>(std::min<std::int64_t>(count - done, s.madeEnd - frame));
        for (std::size_t c = 0; c < channels.size(); ++c)
            std::copy_n(s.made[c].data() + offset, frames, channels[c] + done);
        done += frames;
    }
    return spillwright::done();
}

} // namespace spillwright
