#include "Audition/Monitor.h"

#include "Audition/LiveSum.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace spillwright {

namespace {

/// Of the two sections of a Butterworth filter of fourth order.
constexpr std::array<double, 2> sectionQ{0.54119610014619698, 1.3065629648763766};

} // namespace

void Monitor::View::begin(const Listening& listening, double rate) {
    how = listening;
    if (!how.band) return;
    const double highest = 0.49 * rate;
    for (auto& side : filters)
        for (std::size_t section = 0; section < side.size(); ++section) {
            const double q = sectionQ[section / 2];
            const double corner = section % 2 == 0 ? how.band->low.value : how.band->high.value;
            const double within = std::clamp(corner, 1.0, highest);
            side[section].setCoefficients(section % 2 == 0 ? juce::IIRCoefficients::makeHighPass(rate, within, q)
                                                           : juce::IIRCoefficients::makeLowPass(rate, within, q));
            side[section].reset();
        }
}

void Monitor::View::hear(float* left, float* right, int count) {
    if (how.band)
        for (std::size_t section = 0; section < filters[0].size(); ++section) {
            filters[0][section].processSamples(left, count);
            filters[1][section].processSamples(right, count);
        }
    if (how.sides == Listening::Sides::stereo) return;
    const float sign = how.sides == Listening::Sides::mono ? 1.0f : -1.0f;
    for (int n = 0; n < count; ++n)
        left[n] = right[n] = 0.5f * (left[n] + sign * right[n]);
}

Monitor::Monitor(double rate) : sampleRate(rate), fade(static_cast<int>(std::lround(LiveSum::fadeTime.value * rate))) {
    for (int n = 0; n <= fade; ++n)
        fadeCurve.push_back(static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * n / fade)));
}

void Monitor::process(float* left, float* right, int count, const Listening& wanted) {
    while (count > 0) {
        if (fadeLeft == 0 && !(now->how == wanted)) {
            std::swap(now, before);
            now->begin(wanted, sampleRate);
            fadeLeft = fade;
        }
        const int some = std::min({count, mostAtOnce, fadeLeft > 0 ? fadeLeft : count});
        processSome(left, right, some);
        left += some;
        right += some;
        count -= some;
    }
}

void Monitor::processSome(float* left, float* right, int count) {
    if (fadeLeft == 0) {
        if (!now->plain()) now->hear(left, right, count);
        return;
    }
    std::copy_n(left, count, otherLeft.begin());
    std::copy_n(right, count, otherRight.begin());
    before->hear(otherLeft.data(), otherRight.data(), count);
    now->hear(left, right, count);
    for (int n = 0; n < count; ++n) {
        const auto i = static_cast<std::size_t>(n);
        const float in = fadeCurve[static_cast<std::size_t>(fade - fadeLeft + n)];
        left[n] = in * left[n] + (1.0f - in) * otherLeft[i];
        right[n] = in * right[n] + (1.0f - in) * otherRight[i];
    }
    fadeLeft -= count;
}

} // namespace spillwright
