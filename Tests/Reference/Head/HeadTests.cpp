// A measured head as two-track sessions: two real microphones, known directions. The responses are those of the package
// libmysofa1 (default.sofa: MIT KEMAR, normal pinna, Gardner & Martin 1994), read where it is installed.

#include "Core/Measure/PairReading.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <mysofa.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

struct HeadCloser {
    void operator()(MYSOFA_HRTF* head) const { mysofa_free(head); }
};
using Head = std::unique_ptr<MYSOFA_HRTF, HeadCloser>;

Head openHead() {
    int error = 0;
    Head head(mysofa_load(SPILLWRIGHT_HEAD_FILE, &error));
    INFO("libmysofa says " << error << " of " << SPILLWRIGHT_HEAD_FILE);
    REQUIRE(head);
    REQUIRE(head->R == 2);
    return head;
}

using Spectrum = std::vector<std::complex<double>>;

/// Of one ear (0 left, 1 right) from a direction in the horizontal plane, degrees counter-clockwise, on 0..n/2.
Spectrum earResponse(const MYSOFA_HRTF& head, double azimuth, unsigned ear, std::size_t n) {
    for (unsigned m = 0; m < head.M; ++m) {
        const float* position = head.SourcePosition.values + 3 * m;
        if (std::abs(static_cast<double>(position[0]) - azimuth) > 0.01 || std::abs(position[1]) > 0.01f) continue;
        Spectrum spectrum(n);
        for (unsigned k = 0; k < head.N; ++k)
            spectrum[k] = static_cast<double>(head.DataIR.values[(m * 2 + ear) * head.N + k]);
        transformByHalves(spectrum, -1.0);
        return spectrum;
    }
    FAIL("no response at " << azimuth << " degrees");
    return {};
}

std::vector<float> heard(const std::vector<float>& sound, const Spectrum& response) {
    Spectrum spectrum(response.size());
    for (std::size_t k = 0; k < sound.size(); ++k)
        spectrum[k] = static_cast<double>(sound[k]);
    transformByHalves(spectrum, -1.0);
    for (std::size_t k = 0; k < spectrum.size(); ++k)
        spectrum[k] *= response[k];
    transformByHalves(spectrum, 1.0);
    std::vector<float> result(sound.size());
    for (std::size_t k = 0; k < result.size(); ++k)
        result[k] = static_cast<float>(spectrum[k].real() / static_cast<double>(response.size()));
    return result;
}

/// What can be said from the responses themselves, slowly and in double.
class Truth {
public:
    Truth(const Spectrum& leftEar, const Spectrum& rightEar, double rateHz)
        : left(leftEar), right(rightEar), binHz(rateHz / static_cast<double>(leftEar.size())) {}

    /// Seconds at which Re sum f^exponent e^{j(phase of right against left)} is tallest, magnitudes raised to `power`.
    double correlationPeak(double low, double high, double exponent, double power) const {
        double best = 0.0, bestLag = 0.0;
        for (double step = 10e-6, from = -1e-3, to = 1e-3; step > 5e-9; step /= 10.0) {
            best = -1e300;
            for (double lag = from; lag <= to; lag += step) {
                double sum = 0.0;
                forEachBin(low, high, [&](double hertz, std::complex<double> cross) {
                    sum += std::pow(hertz, exponent) * std::pow(std::abs(cross), power) *
                           std::cos(std::arg(cross) - 2.0 * std::numbers::pi * hertz * lag);
                });
                if (sum > best) {
                    best = sum;
                    bestLag = lag;
                }
            }
            from = bestLag - step;
            to = bestLag + step;
        }
        return bestLag;
    }

    /// Least squares through the phase and the origin, weights f^exponent, around a lag that unwraps it.
    double phaseSlope(double low, double high, double exponent, double around) const {
        double slope = 0.0, moment = 0.0;
        forEachBin(low, high, [&](double hertz, std::complex<double> cross) {
            const double omega = 2.0 * std::numbers::pi * hertz, weight = std::pow(hertz, exponent);
            slope += weight * omega * std::arg(cross * std::polar(1.0, -omega * around));
            moment += weight * omega * omega;
        });
        return around + slope / moment;
    }

private:
    const Spectrum& left;
    const Spectrum& right;
    double binHz;

    template <class Visit>
    void forEachBin(double low, double high, Visit&& visit) const {
        // Every fourth: the responses last 12 ms, so they are smooth over 80 Hz.
        for (auto k = static_cast<std::size_t>(low / binHz) + 1; static_cast<double>(k) * binHz <= high; k += 4)
            visit(static_cast<double>(k) * binHz, left[k] * std::conj(right[k]));
    }
};

} // namespace

TEST_CASE("a source to the right is heard by the right ear first") {
    const auto head = openHead();
    const std::size_t length = std::size_t(1) << 18;
    const double rate = static_cast<double>(head->DataSamplingRate.values[0]);
    const auto sound = pinkNoise(length, 2, rate);
    const auto read = [&](double azimuth) {
        Workers workers(2);
        const auto spectra = computeCrossSpectra(MemorySource({heard(sound, earResponse(*head, azimuth, 0, length)),
                                                               heard(sound, earResponse(*head, azimuth, 1, length))},
                                                              rate),
                                                 {}, workers, {});
        REQUIRE(spectra);
        return readPair(*spectra, 0, 1, {}).arrival.value().delay.value;
    };
    const double fromLeft = read(60.0), fromRight = read(300.0);
    CHECK(fromLeft > 0.0);
    CHECK(fromRight == Approx(-fromLeft).margin(1e-7)); // the set is mirrored
}

TEST_CASE("two microphones on a measured head: arrivals and polarity of eight directions") {
    // Right ear after left, microseconds, from the same file by other means (computed): broadband correlation
    // 0.1-16 kHz, whitened correlation 0.2-16 kHz, phase slope 200-500 Hz.
    struct Row {
        double azimuth, broadband, whitened, slope;
    };
    const Row table[] = {{15, 127.6, 126.1, 199.6},  {30, 256.5, 250.9, 386.5}, {45, 391.2, 381.2, 548.5},
                         {60, 513.0, 511.6, 673.9},  {75, 637.8, 632.1, 755.5}, {90, 722.8, 722.8, 787.0},
                         {120, 479.0, 487.5, 697.6}, {150, 266.4, 267.9, 409.1}};
    const auto head = openHead();
    const double rate = static_cast<double>(head->DataSamplingRate.values[0]);
    const std::size_t length = std::size_t(1) << 18; // 6 s
    const auto sound = pinkNoise(length, 1, rate);
    for (const auto& row : table) {
        const auto left = earResponse(*head, row.azimuth, 0, length),
                   right = earResponse(*head, row.azimuth, 1, length);
        Workers workers(2);
        const auto spectra =
            computeCrossSpectra(MemorySource({heard(sound, left), heard(sound, right)}, rate), {}, workers, {});
        REQUIRE(spectra);
        ReadingOptions options;
        options.band = {Hertz(200.0), Hertz(500.0)};
        const auto reading = readPair(*spectra, 0, 1, options);
        REQUIRE(reading.arrival);
        const double wide = 1e6 * reading.arrival->delay.value, inBand = 1e6 * reading.arrivalInBand->delay.value;
        CAPTURE(row.azimuth, wide, inBand, reading.arrival->uncertainty.value);

        // The truth's own arithmetic, against the table.
        const auto fineLeft = earResponse(*head, row.azimuth, 0, 1 << 15);
        const auto fineRight = earResponse(*head, row.azimuth, 1, 1 << 15);
        const Truth truth(fineLeft, fineRight, rate);
        constexpr double tableAgrees = 1.0; // microseconds: a parabola on a grid there, a search here
        CHECK(1e6 * truth.correlationPeak(100.0, 16000.0, 0.0, 1.0) == Approx(row.broadband).margin(tableAgrees));
        CHECK(1e6 * truth.correlationPeak(200.0, 16000.0, 0.0, 0.0) == Approx(row.whitened).margin(tableAgrees));
        CHECK(1e6 * truth.phaseSlope(200.0, 500.0, 0.0, reading.arrival->delay.value) ==
              Approx(row.slope).margin(tableAgrees));

        // A head delays bass more than treble, so every weighting has a truth of its own. Without noise the reading is
        // that of f^-0.75 from 60 to 8000 Hz or of equal weights to 12000 Hz, or lies between where those are estimated
        // (2 us: a tenth of a sample of 6 s of noise); in the band it is that of 1/f.
        const auto [low, high] = std::minmax({1e6 * truth.correlationPeak(60.0, 8000.0, -0.75, 0.0),
                                              1e6 * truth.correlationPeak(60.0, 12000.0, 0.0, 0.0)});
        CHECK(wide > low - 2.0);
        CHECK(wide < high + 2.0);
        CHECK(inBand == Approx(1e6 * truth.phaseSlope(200.0, 500.0, -1.0, reading.arrival->delay.value)).margin(2.0));
        CHECK(reading.polarity->polarity == Polarity::same);
        CHECK(reading.polarity->confidence > 0.8);
        CHECK(reading.arrival->confidence > 0.8);
        CHECK(inBand > wide); // Kuhn 1977: 3a/c below, 2a/c above
    }
}
