#include "Audition/SumResampler.h"

#include <soxr.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright {

struct SumResampler::Stream {
    soxr_t soxr = nullptr;
    ~Stream() { soxr_delete(soxr); }
};

SumResampler::SumResampler(double fromRate, double toRate)
    : stream(std::make_unique<Stream>()), outRate(toRate), inLeft(step, 0.0f), inRight(step, 0.0f),
      // libsoxr gives its output in bursts, some steps' worth at once; what does not fit it keeps for the next call.
      outLeft(static_cast<std::size_t>(16 * std::ceil(step * toRate / fromRate))), outRight(outLeft) {
    const auto samples = soxr_io_spec(SOXR_FLOAT32_S, SOXR_FLOAT32_S); // one array a side
    const auto quality = soxr_quality_spec(SOXR_HQ, 0);
    const auto oneThread = soxr_runtime_spec(1);
    stream->soxr = soxr_create(fromRate, toRate, 2, nullptr, &samples, &quality, &oneThread);
    // Buffers stop growing after about 40 steps, whatever the rates; ten times that is run here.
    for (int warmUp = 0; warmUp < 400; ++warmUp)
        convert();
}

SumResampler::~SumResampler() = default;

void SumResampler::convert() {
    const std::array<const float*, 2> in{inLeft.data(), inRight.data()};
    std::array<float*, 2> out{outLeft.data(), outRight.data()};
    std::size_t used = 0, made = 0;
    const auto fault = soxr_process(stream->soxr, in.data(), step, &used, out.data(), outLeft.size(), &made);
    if (fault) { // rates that cannot be: silence, not an endless wait for sound
        made = outLeft.size();
        std::fill(outLeft.begin(), outLeft.end(), 0.0f);
        std::fill(outRight.begin(), outRight.end(), 0.0f);
    }
    outBegin = 0;
    outEnd = static_cast<int>(made);
}

Seconds SumResampler::delay() const {
    return Seconds((soxr_delay(stream->soxr) + available()) / outRate);
}

int SumResampler::give(float* left, float* right, int most) {
    const int now = std::min(most, available());
    std::copy_n(outLeft.data() + outBegin, now, left);
    std::copy_n(outRight.data() + outBegin, now, right);
    outBegin += now;
    return now;
}

} // namespace spillwright
