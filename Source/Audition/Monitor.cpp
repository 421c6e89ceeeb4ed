#include "Audition/Monitor.h"

#include "Audition/FadeCurve.h"
#include "Audition/LiveSum.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright {

namespace {

/// Of the two sections of a Butterworth filter of fourth order.
constexpr std::array<double, 2> sectionQ{0.54119610014619698, 1.3065629648763766};

constexpr Seconds powerTime(0.3);
constexpr float mostLouder = 2.0f;      ///< In power, without a rise.
constexpr float quietestStart = 0.004f; ///< In power, -24 dB.
constexpr float nothing = 1e-10f;       ///< In power: what sounded was silence, to which nothing is compared.

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

Monitor::Monitor(double rate)
    : sampleRate(rate), fade(static_cast<int>(std::lround(LiveSum::fadeTime.value * rate))),
      fadeCurve(fadeCurveOf(fade)), powerShare(static_cast<float>(1.0 - std::exp(-1.0 / (powerTime.value * rate)))),
      riseStep(static_cast<float>(amplitudeOfDecibels(LiveSum::riseRate / rate))) {}

void Monitor::process(float* left, float* right, int count, const Listening& wanted) {
    while (count > 0) {
        if (fadeLeft == 0 && !(now->how == wanted)) {
            std::swap(now, before);
            now->begin(wanted, sampleRate);
            // A band has at most the power of all.
            const float louder = powerOf(wanted.sides) / std::max(heardPower, nothing);
            now->level = before->level;
            if (heardPower > nothing && louder > mostLouder)
                now->level *= std::sqrt(std::max(mostLouder / louder, quietestStart));
            fadeLeft = fade;
        }
        const int some = std::min({count, mostAtOnce, fadeLeft > 0 ? fadeLeft : count});
        for (int n = 0; n < some; ++n) {
            const float l = left[n], r = right[n], together = l + r, apart = l - r;
            stereoPower += powerShare * (l * l + r * r - stereoPower);
            monoPower += powerShare * (0.5f * together * together - monoPower);
            sidePower += powerShare * (0.5f * apart * apart - sidePower);
        }
        processSome(left, right, some);
        for (int n = 0; n < some; ++n)
            heardPower += powerShare * (left[n] * left[n] + right[n] * right[n] - heardPower);
        left += some;
        right += some;
        count -= some;
    }
}

void Monitor::processSome(float* left, float* right, int count) {
    const auto rise = [&] {
        for (int n = 0; n < count && now->level < 1.0f; ++n) {
            now->level = std::min(now->level * riseStep, 1.0f);
            left[n] *= now->level;
            right[n] *= now->level;
        }
    };
    if (fadeLeft == 0) {
        if (!now->plain()) now->hear(left, right, count);
        rise();
        return;
    }
    std::copy_n(left, count, otherLeft.begin());
    std::copy_n(right, count, otherRight.begin());
    before->hear(otherLeft.data(), otherRight.data(), count);
    if (before->level < 1.0f)
        for (auto* side : {&otherLeft, &otherRight})
            juce::FloatVectorOperations::multiply(side->data(), before->level, count);
    now->hear(left, right, count);
    rise();
    for (int n = 0; n < count; ++n) {
        const auto i = static_cast<std::size_t>(n);
        const float in = fadeCurve[static_cast<std::size_t>(fade - fadeLeft + n)];
        left[n] = in * left[n] + (1.0f - in) * otherLeft[i];
        right[n] = in * right[n] + (1.0f - in) * otherRight[i];
    }
    fadeLeft -= count;
}

} // namespace spillwright
