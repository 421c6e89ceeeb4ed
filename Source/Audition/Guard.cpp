#include "Audition/Guard.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

Guard::Guard(double sampleRate)
    : window(std::max(2, static_cast<int>(std::ceil(lookAheadTime.value * sampleRate)))),
      limit(static_cast<float>(amplitudeOfDecibels(ceiling.value))),
      releaseStep(
          std::max<std::int64_t>(1, std::llround(static_cast<double>(unity) / (releaseTime.value * sampleRate)))),
      delayedLeft(static_cast<std::size_t>(window), 0.0f), delayedRight(delayedLeft),
      needed(static_cast<std::size_t>(window), unity), held(needed), heldSum(unity * window) {}

bool Guard::process(float* left, float* right, int count) {
    bool active = false;
    for (int n = 0; n < count; ++n) {
        const auto at = static_cast<std::size_t>(place);
        const auto last = static_cast<std::size_t>(place == 0 ? window - 1 : place - 1);
        place = place + 1 == window ? 0 : place + 1;
        const float newLeft = std::isfinite(left[n]) ? left[n] : 0.0f;
        const float newRight = std::isfinite(right[n]) ? right[n] : 0.0f;
        delayedLeft[at] = newLeft;
        delayedRight[at] = newRight;

        const float peak = std::max(std::abs(newLeft), std::abs(newRight));
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

        const auto leaving = static_cast<std::size_t>(place);
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
    return active;
}

} // namespace spillwright
