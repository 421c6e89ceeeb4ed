#include "Core/Measure/MainsHum.h"

#include "Core/Measure/Kernels.h"
#include "Core/Measure/WindowSpectra.h"
#include "Core/Types.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace spillwright {

namespace {

constexpr double widestBin = 6.0;    // Hz: eight bins from line to line
constexpr double strays = 0.006;     // the mains and a recorder's clock stay within so much of 50 or 60 Hz
constexpr double wanders = 0.001;    // within a recording
constexpr int multiplesAsked = 20;   // 1000 or 1200 Hz
constexpr float clearlyAbove = 4.0f; // of the cross-power between two lines: 6 dB
constexpr double lobe = 2.5;         // bins to either side that a Hann window gives a line
constexpr double spilled = 0.1;      // of a bin's cross-power: from here on the line rules it

/// Power that a Hann window spills `bins` away from a line, of the line's own: the envelope of its side lobes.
double spill(double bins) {
    const double d = std::abs(bins);
    if (d < 1.5) return 1.0;
    const double amplitude = 1.0 / (std::numbers::pi * d * (d * d - 1.0));
    return amplitude * amplitude;
}

} // namespace

MainsHumFinder::MainsHumFinder(double binWidth) : width(binWidth) {}

float MainsHumFinder::tallestAround(std::span<const float> magnitudes, double hertz) const {
    const int bins = static_cast<int>(magnitudes.size());
    const int bin = std::clamp(static_cast<int>(std::lround(hertz / width)), 0, bins - 1);
    float tallest = 0.0f;
    for (int k = std::max(0, bin - 1); k <= std::min(bins - 1, bin + 1); ++k)
        tallest = std::max(tallest, magnitudes[static_cast<std::size_t>(k)]);
    return tallest;
}

/// Mean of the bins from one frequency to another, the lines' own lobes left out.
float MainsHumFinder::between(std::span<const float> magnitudes, double lowHz, double highHz) const {
    const int bins = static_cast<int>(magnitudes.size());
    const int low = std::max(1, static_cast<int>(std::ceil(lowHz / width + lobe)));
    const int high = std::min(bins - 1, static_cast<int>(std::floor(highHz / width - lobe)));
    float total = 0.0f;
    for (int k = low; k <= high; ++k)
        total += magnitudes[static_cast<std::size_t>(k)];
    return high >= low ? total / static_cast<float>(high - low + 1) : 0.0f;
}

bool MainsHumFinder::stands(std::span<const float> magnitudes, double mains, int multiple) const {
    const double hertz = multiple * mains;
    const float beside = std::max(between(magnitudes, hertz - mains, hertz), between(magnitudes, hertz, hertz + mains));
    const float tallest = tallestAround(magnitudes, hertz);
    return tallest > 0.0f && tallest > clearlyAbove * beside;
}

/// The mains' frequency near a nominal one, by the lines that stand together.
double MainsHumFinder::sharpened(std::span<const float> magnitudes, double nominal) const {
    constexpr int steps = 12;
    const int bins = static_cast<int>(magnitudes.size());
    double best = nominal, most = -1.0;
    for (int step = -steps; step <= steps; ++step) {
        const double mains = nominal * (1.0 + strays * step / steps);
        double height = 0.0;
        for (int multiple = 1; multiple <= multiplesAsked; ++multiple) {
            const double place = multiple * mains / width;
            const int bin = static_cast<int>(place);
            if (bin + 1 >= bins) break;
            const auto low = static_cast<std::size_t>(bin);
            const double part = place - bin;
            const double here =
                (1.0 - part) * static_cast<double>(magnitudes[low]) + part * static_cast<double>(magnitudes[low + 1]);
            const double beside =
                static_cast<double>(between(magnitudes, (multiple - 1) * mains, (multiple + 1) * mains));
            if (beside > 0.0) height += std::log1p(here / beside);
        }
        if (height > most + 1e-9) {
            most = height;
            best = mains;
        }
    }
    return best;
}

/// Marks the bins that lines rule: within their lobe and their wander, or where their side lobes reach. Lines that
/// music hides for a while count as well, to an octave above the highest that stands.
void MainsHumFinder::rule(std::span<const float> magnitudes, MainsHum& hum) const {
    const int bins = static_cast<int>(magnitudes.size());
    hum.ruled.assign(magnitudes.size(), 0);
    const int multiples = static_cast<int>(std::min(wideBand.high.value, (bins - 2) * width) / hum.hertz);
    int highest = 0;
    for (int multiple = 1; multiple <= multiples; ++multiple)
        if (stands(magnitudes, hum.hertz, multiple)) highest = multiple;
    std::vector<std::pair<double, double>> lines; // place in bins, power
    for (int multiple = 1; multiple <= std::min(multiples, 2 * highest); ++multiple) {
        const double place = multiple * hum.hertz / width;
        const double reach = lobe + wanders * place;
        if (stands(magnitudes, hum.hertz, multiple))
            lines.emplace_back(place, static_cast<double>(tallestAround(magnitudes, multiple * hum.hertz)));
        for (int k = std::max(0, static_cast<int>(std::ceil(place - reach)));
             k <= std::min(bins - 1, static_cast<int>(std::floor(place + reach))); ++k)
            hum.ruled[static_cast<std::size_t>(k)] = 1;
    }
    for (int k = 0; k < bins; ++k) {
        auto& ruled = hum.ruled[static_cast<std::size_t>(k)];
        if (ruled) continue;
        double power = 0.0;
        for (const auto& [place, line] : lines)
            power += line * spill(k - place);
        ruled = power > spilled * static_cast<double>(magnitudes[static_cast<std::size_t>(k)]);
    }
}

bool MainsHumFinder::find(std::span<const float> magnitudes, int fewestLines, MainsHum& hum) const {
    if (width > widestBin) return false;
    hum.lines = 0;
    for (const double nominal : {50.0, 60.0}) {
        int likely = 0;
        for (int multiple = 1; multiple <= multiplesAsked / 2; ++multiple)
            likely += stands(magnitudes, nominal, multiple);
        if (likely < fewestLines) continue;
        const double mains = sharpened(magnitudes, nominal);
        int lines = 0;
        bool low = false;
        for (int multiple = 1; multiple <= multiplesAsked; ++multiple)
            if (stands(magnitudes, mains, multiple)) {
                ++lines;
                low |= multiple <= 3;
            }
        if (lines >= fewestLines && lines > hum.lines) {
            hum.hertz = mains;
            hum.lines = lines;
            hum.low = low;
        }
    }
    if (hum.lines == 0) return false;
    rule(magnitudes, hum);
    return true;
}

namespace {

constexpr int fewestSteadyLines = 4;
constexpr std::size_t fewestWindows = 30;
constexpr double quietest = 0.1;     // of the windows
constexpr double highestHz = 1250.0; // beyond the last multiple

/// What a track has from moment to moment, from 0 Hz on.
struct InTime {
    std::vector<float> steady; ///< [bin] In the quietest moments; empty where there are too few.
    std::vector<float> usual;  ///< [bin] In the middle of them.
    int firstBin = 0;          ///< Below, nothing is known.
};

/// In the windows that are kept: steady is their quietest tenth, usual their median.
InTime inWindows(const CrossSpectra& spectra, int track) {
    const auto* windows = spectra.windowSpectra();
    if (windows == nullptr || windows->kept().size() < fewestWindows) return {};
    const int bins =
        std::min(windows->binCount(), static_cast<int>(highestHz / spectra.binWidth()) - windows->firstBin());
    if (bins <= 0) return {};
    const auto count = windows->kept().size();
    std::vector<float> powers(static_cast<std::size_t>(bins) * count);
    for (std::size_t window = 0; window < count; ++window) {
        const auto spectrum = windows->spectrum(track, static_cast<int>(window));
        for (int bin = 0; bin < bins; ++bin)
            powers[static_cast<std::size_t>(bin) * count + window] =
                std::norm(kernels::keptValue(spectrum[static_cast<std::size_t>(bin)]));
    }
    InTime in;
    in.firstBin = windows->firstBin();
    in.steady.resize(static_cast<std::size_t>(in.firstBin + bins));
    in.usual.resize(in.steady.size());
    for (int bin = 0; bin < bins; ++bin) {
        const auto first = powers.begin() + static_cast<std::ptrdiff_t>(static_cast<std::size_t>(bin) * count);
        const auto last = first + static_cast<std::ptrdiff_t>(count);
        const auto low = first + static_cast<std::ptrdiff_t>(quietest * static_cast<double>(count));
        const auto middle = first + static_cast<std::ptrdiff_t>(count / 2);
        std::nth_element(first, low, last);
        in.steady[static_cast<std::size_t>(in.firstBin + bin)] = *low;
        std::nth_element(low, middle, last);
        in.usual[static_cast<std::size_t>(in.firstBin + bin)] = *middle;
    }
    return in;
}

/// In the stretches, which are kept from 0 Hz on: steady is the quietest of them, usual their mean.
InTime inStretches(const CrossSpectra& spectra, int track, double highest) {
    constexpr int fewest = 4;
    const auto bins =
        std::min(spectra.pools().size(), static_cast<std::size_t>(std::ceil(highest / spectra.binWidth())));
    if (spectra.stretches() < fewest || bins == 0 || spectra.pools()[bins - 1].firstBin != static_cast<int>(bins) - 1)
        return {};
    std::vector<std::complex<float>> powers(bins);
    InTime in{std::vector<float>(bins, std::numeric_limits<float>::max()), std::vector<float>(bins, 0.0f), 1};
    for (int stretch = 0; stretch < spectra.stretches(); ++stretch) {
        spectra.copyStretch(stretch, track, track, powers);
        for (std::size_t bin = 0; bin < bins; ++bin) {
            in.steady[bin] = std::min(in.steady[bin], powers[bin].real());
            in.usual[bin] += powers[bin].real() / static_cast<float>(spectra.stretches());
        }
    }
    return in;
}

/// Of the three bins around a place.
double around(const std::vector<float>& powers, int bin) {
    double sum = 0.0;
    for (int k = std::max(1, bin - 1); k <= std::min(bin + 1, static_cast<int>(powers.size()) - 1); ++k)
        sum += static_cast<double>(powers[static_cast<std::size_t>(k)]);
    return sum;
}

/// Power of a sine of full scale = 1, of what the bins nearest to it hold.
double sinePower(double ofBins, const CrossSpectra& spectra) {
    constexpr double ofLobe = 1.5; // what the three bins nearest to a line hold against the one in its middle (Hann)
    const double length = spectra.windowLength(); // a sine of rms a has (a N / sqrt 8)^2 in a Hann window's bin
    return 8.0 * ofBins / ofLobe / (length * length);
}

Decibels levelOfLines(const std::vector<float>& powers, const CrossSpectra& spectra, double mains) {
    double sum = 0.0;
    for (int multiple = 1; multiple <= multiplesAsked; ++multiple)
        sum += around(powers, static_cast<int>(std::lround(multiple * mains / spectra.binWidth())));
    return Decibels(decibelsOfPower(sinePower(sum, spectra)));
}

/// A track's single lines, one by one.
class Lines {
public:
    Lines(const CrossSpectra& ofSpectra, int track)
        : spectra(ofSpectra), windows(inWindows(spectra, track)), stretches(inStretches(spectra, track, lowHz)) {}

    bool known() const { return !windows.steady.empty(); }

    struct Line {
        double hertz = 0.0;
        double power = 0.0; ///< Full scale = 1.
    };
    /// One near a frequency that is as strong all the time and alone within some bins; nullopt: none is.
    std::optional<Line> steadyNear(double hertz) const {
        const auto& in = at(hertz);
        const double width = spectra.binWidth();
        const int expected = static_cast<int>(std::lround(hertz / width));
        if (expected + farthest + 1 >= std::ssize(in.steady)) return std::nullopt;
        const auto power = [&](int bin) {
            return bin < in.firstBin ? 0.0 : static_cast<double>(in.steady[static_cast<std::size_t>(bin)]);
        };
        int middle = expected;
        for (const int bin : {expected - 1, expected + 1})
            if (power(bin) > power(middle)) middle = bin;
        double below = 0.0, above = 0.0;
        for (int away = nearest; away <= farthest; ++away) {
            below += power(middle - away) / (farthest - nearest + 1);
            above += power(middle + away) / (farthest - nearest + 1);
        }
        if (power(middle) <= static_cast<double>(clearlyAbove) * std::max(below, above)) return std::nullopt;
        const double most = &in == &windows ? scatterOfWindows : scatterOfStretches;
        if (decibelsOfPower(around(in.usual, middle) / around(in.steady, middle)) > most) return std::nullopt;
        // Between two bins a Hann window's amplitudes are as 1 + d to 2 - d, d bins from the stronger one.
        const int side = power(middle + 1) > power(middle - 1) ? 1 : -1;
        const double ratio = std::sqrt(power(middle + side) / power(middle));
        const double found = width * (middle + side * std::max(0.0, (2.0 * ratio - 1.0) / (1.0 + ratio)));
        if (std::abs(found - hertz) > strays * hertz + unsureBins * width) return std::nullopt;
        return Line{found, sinePower(around(in.steady, middle), spectra)};
    }

    /// What there mostly is at a frequency, full scale = 1.
    double usuallyAt(double hertz) const {
        return sinePower(around(at(hertz).usual, static_cast<int>(std::lround(hertz / spectra.binWidth()))), spectra);
    }

private:
    static constexpr double lowHz = 150.0;            // windows are kept from 89 Hz on
    static constexpr int nearest = 3, farthest = 5;   // bins that a line leaves alone
    static constexpr double scatterOfWindows = 3.0;   // dB; of noise 8
    static constexpr double scatterOfStretches = 1.5; // dB
    static constexpr double unsureBins = 0.15;        // under music

    const CrossSpectra& spectra;
    InTime windows, stretches;

    const InTime& at(double hertz) const {
        return std::lround(hertz / spectra.binWidth()) - 2 >= windows.firstBin ? windows : stretches;
    }
};

} // namespace

std::optional<SteadyHum> steadyHum(const CrossSpectra& spectra, int track) {
    const auto powers = inWindows(spectra, track).steady;
    if (powers.empty()) return std::nullopt;
    MainsHum hum;
    if (!MainsHumFinder(spectra.binWidth()).find(powers, fewestSteadyLines, hum) || !hum.low) return std::nullopt;
    return SteadyHum{hum.hertz, hum.lines, levelOfLines(powers, spectra, hum.hertz)};
}

std::optional<Decibels> steadyLevelAt(const CrossSpectra& spectra, int track, double mains) {
    const auto powers = inWindows(spectra, track).steady;
    if (powers.empty()) return std::nullopt;
    return levelOfLines(powers, spectra, mains);
}

std::optional<SteadyHum> addedHum(const CrossSpectra& later, int track, const CrossSpectra& earlier, int earlierTrack) {
    if (std::max(later.binWidth(), earlier.binWidth()) > widestBin) return std::nullopt;
    const Lines is(later, track), was(earlier, earlierTrack);
    if (!is.known() || !was.known()) return std::nullopt;
    std::optional<SteadyHum> loudest;
    for (const double nominal : {50.0, 60.0}) {
        double power = 0.0, weights = 0.0, weighted = 0.0;
        int lines = 0;
        bool low = false;
        for (int multiple = 1; multiple <= multiplesAsked; ++multiple) {
            const auto line = is.steadyNear(multiple * nominal);
            if (!line || line->power <= static_cast<double>(clearlyAbove) * was.usuallyAt(line->hertz)) continue;
            ++lines;
            low |= multiple <= 3;
            power += line->power;
            const double weight = line->power * multiple * multiple; // a multiple tells the mains so much closer
            weights += weight;
            weighted += weight * line->hertz / multiple;
        }
        const Decibels level(decibelsOfPower(power));
        if (low && (!loudest || level.value > loudest->level.value))
            loudest = SteadyHum{weighted / weights, lines, level};
    }
    return loudest;
}

} // namespace spillwright
