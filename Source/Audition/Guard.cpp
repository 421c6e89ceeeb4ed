#include "Audition/Guard.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

int oversampling(double sampleRate) {
    return sampleRate < 96000.0 ? 4 : sampleRate < 176400.0 ? 2 : 1;
}

} // namespace

/// Sincs under a Hann window of 48 intervals of the higher rate, for each place between a sample and the next.
std::vector<Guard::Taps> Guard::tapsBetween(int times) {
    const int sides = 2 * mostReach / times;
    std::vector<Taps> places;
    for (int part = 1; part < times; ++part) {
        Taps& taps = places.emplace_back();
        for (int k = 0; k < 2 * sides; ++k) {
            const double away = k - sides + 1 - static_cast<double>(part) / times; // samples
            const double window = 0.5 + 0.5 * std::cos(std::numbers::pi * away / sides);
            taps[static_cast<std::size_t>(k)] =
                static_cast<float>(window * std::sin(std::numbers::pi * away) / (std::numbers::pi * away));
        }
    }
    return places;
}

float Guard::safePeakOf(const std::vector<Taps>& places, float limit) {
    double largest = 1.0;
    for (const Taps& taps : places) {
        double magnitudes = 0.0;
        for (const float tap : taps)
            magnitudes += std::abs(static_cast<double>(tap));
        largest = std::max(largest, magnitudes);
    }
    constexpr double rounding = 1.0 + 2.0 * mostReach * 0x1p-23; // of the sum in single precision
    return places.empty() ? limit : static_cast<float>(static_cast<double>(limit) / (largest * rounding));
}

Guard::Guard(double sampleRate)
    : between(tapsBetween(oversampling(sampleRate))),
      reach(between.empty() ? 0 : 2 * mostReach / oversampling(sampleRate)),
      window(std::max(2, static_cast<int>(std::ceil(lookAheadTime.value * sampleRate)))),
      limit(static_cast<float>(amplitudeOfDecibels(ceiling.value))), safe(safePeakOf(between, limit)),
      releaseStep(
          std::max<std::int64_t>(1, std::llround(static_cast<double>(unity) / (releaseTime.value * sampleRate)))),
      delayedLeft(static_cast<std::size_t>(window + reach), 0.0f), delayedRight(delayedLeft),
      needed(static_cast<std::size_t>(window), unity), held(needed), heldSum(unity * window) {}

bool Guard::process(float* left, float* right, int count) {
    bool active = false;
    for (int done = 0; done < count; done += mostAtOnce)
        active = processSome(left + done, right + done, std::min(mostAtOnce, count - done)) || active;
    return active;
}

void Guard::crestsBetween(const Recent& samples) {
    for (const Taps& taps : between) {
        std::array<float, mostAtOnce> interpolated{};
        for (int k = 0; k < 2 * reach; ++k) {
            const float tap = taps[static_cast<std::size_t>(k)];
            const float* const from = samples.data() + past + 1 - 2 * reach + k;
            for (std::size_t n = 0; n < mostAtOnce; ++n)
                interpolated[n] += tap * from[n];
        }
        // What is no number any more, between two of the largest that there are, is passed over: they tell enough.
        for (std::size_t n = 0; n < mostAtOnce; ++n)
            crests[n] = std::max(crests[n], std::abs(interpolated[n]));
    }
}

bool Guard::processSome(float* left, float* right, int count) {
    for (int n = 0; n < count; ++n) {
        const auto newest = static_cast<std::size_t>(past + n);
        recentLeft[newest] = std::isfinite(left[n]) ? left[n] : 0.0f;
        recentRight[newest] = std::isfinite(right[n]) ? right[n] : 0.0f;
        const float peak = std::max(std::abs(recentLeft[newest]), std::abs(recentRight[newest]));
        quietFor = peak > safe ? 0 : std::min(quietFor + 1, past + mostAtOnce);
    }
    crests.fill(0.0f);
    if (quietFor < past + count) {
        crestsBetween(recentLeft);
        crestsBetween(recentRight);
    }

    bool active = false;
    for (int n = 0; n < count; ++n) {
        const auto at = static_cast<std::size_t>(place);
        const auto last = static_cast<std::size_t>(place == 0 ? window - 1 : place - 1);
        place = place + 1 == window ? 0 : place + 1;
        const auto newest = static_cast<std::size_t>(past + n), judged = newest - static_cast<std::size_t>(reach);
        delayedLeft[static_cast<std::size_t>(delayPlace)] = recentLeft[newest];
        delayedRight[static_cast<std::size_t>(delayPlace)] = recentRight[newest];
        delayPlace = delayPlace + 1 == window + reach ? 0 : delayPlace + 1;

        const float crest = crests[static_cast<std::size_t>(n)];
        const float peak = std::max({std::abs(recentLeft[judged]), std::abs(recentRight[judged]), crestBefore, crest});
        crestBefore = crest;
        needed[at] = peak <= limit ? unity
                                   : static_cast<std::int64_t>(static_cast<double>(limit) / static_cast<double>(peak) *
                                                               static_cast<double>(unity));
        if (needed[at] <= lowest) {
            lowest = needed[at];
            lowestAge = 0;
        } else if (++lowestAge >= window) {
            // The lowest has left the window: the next lowest, the newest of equals.
            lowest = unity + 1;
            for (int age = window - 1; age >= 0; --age) {
                const std::int64_t gain =
                    needed[static_cast<std::size_t>((static_cast<int>(at) - age + window) % window)];
                if (gain <= lowest) {
                    lowest = gain;
                    lowestAge = age;
                }
            }
        }
        // Every gain held while a sample passes the window is at most what the sample needs; so is their mean, by which
        // it is multiplied as it leaves. The mean moves in a straight line: no step, no click.
        const std::int64_t gain = std::min(lowest, held[last] + releaseStep);
        heldSum += gain - held[at];
        held[at] = gain;

        const auto leaving = static_cast<std::size_t>(delayPlace);
        if (heldSum == unity * window) {
            left[n] = delayedLeft[leaving];
            right[n] = delayedRight[leaving];
        } else {
            active = true;
            const double mean = static_cast<double>(heldSum) / (static_cast<double>(unity) * window);
            left[n] = std::clamp(static_cast<float>(static_cast<double>(delayedLeft[leaving]) * mean), -limit, limit);
            right[n] = std::clamp(static_cast<float>(static_cast<double>(delayedRight[leaving]) * mean), -limit, limit);
        }
    }
    std::copy_n(recentLeft.begin() + count, past, recentLeft.begin());
    std::copy_n(recentRight.begin() + count, past, recentRight.begin());
    return active;
}

} // namespace spillwright
