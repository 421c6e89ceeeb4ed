#include "Core/Loudness.h"

#include <complex>
#include <numbers>

namespace spillwright {

double kWeighting(Hertz frequency) {
    const auto z = std::polar(1.0, -2.0 * std::numbers::pi * frequency.value / 48000.0); // z^-1
    const auto squared = z * z;
    const auto shelf = (1.53512485958697 - 2.69169618940638 * z + 1.19839281085285 * squared) /
                       (1.0 - 1.69065929318241 * z + 0.73248077421585 * squared);
    const auto highPass = (1.0 - 2.0 * z + squared) / (1.0 - 1.99004745483398 * z + 0.99007225036621 * squared);
    return std::norm(shelf * highPass);
}

} // namespace spillwright
