#include "Core/Measure/StretchFollower.h"

#include "Core/Measure/StretchKernels.h"
#include "Core/Measure/WindowOverlap.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

constexpr double groupsPerOctave = 8.0;
constexpr double gridStep = 3e-5; // s: four points a period of 8 kHz
constexpr int gridReach = 100;    // points either side: 3 ms
constexpr int newtonSteps = 4;
constexpr double settledSeconds = 1e-10;
constexpr double nearSeconds = 2.5e-4; // a group still adds up: an eighth of an octave at 8 kHz turns by a sixth
constexpr double aboveNoise = 5.0;     // deviations: one peak of 100 in 20000 is chance
constexpr double lowPeak = 0.6;        // of the usual height: look for another
constexpr double taller = 1.15;        // and take it if it is so much taller
constexpr double clearlyLess = 0.8;
constexpr double turningAbove = 7.0; // deviations, of some ten thousand lags and pairs
constexpr double mostPpm = 300.0;
constexpr double mostCoherent = 0.98;

/// The value below which `share` of them lie, one of them; 0 of none.
double quantileOf(std::vector<double> values, double share) {
    if (values.empty()) return 0.0;
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(static_cast<double>(values.size()) * share);
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

/// Scatter from each arrival to the next.
double restless(const std::vector<StretchArrival>& arrivals) {
    std::vector<double> changes;
    for (std::size_t k = 1; k < arrivals.size(); ++k)
        changes.push_back(std::abs(arrivals[k].lag.value - arrivals[k - 1].lag.value));
    return quantileOf(std::move(changes), 0.5);
}

} // namespace

StretchFollower::StretchFollower(const CrossSpectra& of)
    : spectra(of), centre(0.5 * static_cast<double>(of.from() + of.to()) / of.sampleRate()) {
    const auto pools = spectra.pools();
    const double width = spectra.binWidth();
    const auto centreOf = [&](std::size_t k) { return (pools[k].firstBin + 0.5 * (pools[k].bins - 1)) * width; };
    while (firstPool < pools.size() && centreOf(firstPool) < wideBand.low.value)
        ++firstPool;
    while (firstPool + poolCount < pools.size() && centreOf(firstPool + poolCount) <= wideBand.high.value)
        ++poolCount;
    poolOmega.assign(kernels::padded(poolCount), 0.0f);
    poolWeight.assign(kernels::padded(poolCount), 0.0f);
    double total = 0.0, squares = 0.0, block = -1.0;
    const auto weightOf = [&](std::size_t k) {
        return pools[firstPool + k].bins * std::pow(centreOf(firstPool + k), wideBandExponent);
    };
    for (std::size_t k = 0; k < poolCount; ++k)
        total += weightOf(k);
    std::vector<double> sums, weights;
    for (std::size_t k = 0; k < poolCount; ++k) {
        const double hertz = centreOf(firstPool + k), w = weightOf(k) / total;
        poolOmega[k] = static_cast<float>(2.0 * std::numbers::pi * hertz);
        poolWeight[k] = static_cast<float>(w);
        squares += w * w;
        const double here = std::floor(groupsPerOctave * std::log2(hertz / wideBand.low.value));
        if (here != block) {
            groupFrom.push_back(k);
            weights.push_back(0.0);
            sums.push_back(0.0);
        }
        block = here;
        weights.back() += w;
        sums.back() += w * static_cast<double>(poolOmega[k]);
    }
    groupCount = groupFrom.size();
    groupFrom.push_back(poolCount);
    omega.assign(kernels::padded(groupCount), 0.0f);
    flat.assign(omega.size(), 0.0f);
    for (std::size_t g = 0; g < groupCount; ++g) {
        omega[g] = static_cast<float>(sums[g] / weights[g]);
        flat[g] = 1.0f;
    }
    // As where pools are bins.
    noiseHeight = std::sqrt(0.5 * squares * (1.0 + 2.0 * (hannNeighbours[1] + hannNeighbours[2])));
    gridRe.resize((2 * gridReach + 1) * stride());
    gridIm.resize(gridRe.size());
    for (int point = -gridReach; point <= gridReach; ++point) {
        const std::size_t row = static_cast<std::size_t>(point + gridReach) * stride();
        kernels::turnTable(omega.data(), flat.data(), groupCount, static_cast<float>(point * gridStep),
                           gridRe.data() + row, gridIm.data() + row);
    }
}

/// Of pools, aligned, to groups.
void StretchFollower::gather(const float* re, const float* im, float* groupRe, float* groupIm) const {
    for (std::size_t g = 0; g < groupCount; ++g) {
        float x = 0.0f, y = 0.0f;
        for (std::size_t k = groupFrom[g]; k < groupFrom[g + 1]; ++k) {
            x += re[k];
            y += im[k];
        }
        groupRe[g] = x;
        groupIm[g] = y;
    }
}

/// Seconds in the recording.
double StretchFollower::middleOf(int stretch) const {
    const auto span = spectra.stretchSpan(stretch);
    return 0.5 * static_cast<double>(span.from + span.to) / spectra.sampleRate();
}

bool StretchFollower::sounds(const Pair& pair, int stretch) const {
    return spectra.sounds(pair.first, stretch) && spectra.sounds(pair.second, stretch);
}

void StretchFollower::makeRoom(Scratch& scratch) const {
    for (auto* room : {&scratch.turnRe, &scratch.turnIm, &scratch.alignedRe, &scratch.alignedIm})
        room->resize(poolOmega.size());
    scratch.cross.resize(firstPool + poolOmega.size()); // what is past the last pool stays 0
}

void StretchFollower::begin(Pair& pair, int first, int second, Seconds arrival, Polarity polarity,
                            double driftPpm) const {
    pair.first = first;
    pair.second = second;
    pair.slope = driftPpm * 1e-6;
    pair.baseRe.resize(poolOmega.size());
    pair.baseIm.resize(poolOmega.size());
    const auto rows = static_cast<std::size_t>(spectra.stretches()) * stride();
    pair.groupRe.assign(rows, 0.0f);
    pair.groupIm.assign(rows, 0.0f);
    kernels::turnTable(poolOmega.data(), poolWeight.data(), poolCount, static_cast<float>(arrival.value),
                       pair.baseRe.data(), pair.baseIm.data());
    const double stretchSeconds =
        static_cast<double>(spectra.to() - spectra.from()) / spectra.sampleRate() / std::max(1, spectra.stretches());
    pair.groupWeight.assign(groupCount, 0.0);
    for (std::size_t g = 0; g < groupCount; ++g)
        for (std::size_t k = groupFrom[g]; k < groupFrom[g + 1]; ++k) {
            const double x = 0.5 * static_cast<double>(poolOmega[k]) * pair.slope * stretchSeconds;
            const double left = x != 0.0 ? std::sin(x) / x : 1.0;
            const auto turned = static_cast<float>(left * sign(polarity));
            pair.baseRe[k] *= turned;
            pair.baseIm[k] *= turned;
            pair.groupWeight[g] += static_cast<double>(poolWeight[k]) * std::abs(left);
        }
}

void StretchFollower::readStretch(Pair& pair, int stretch, Scratch& scratch) const {
    if (poolCount == 0 || !sounds(pair, stretch)) return;
    makeRoom(scratch);
    align(pair, stretch, 0.0, scratch);
}

/// The stretch's groups with a further lag taken out besides the pair's own and its drift's, into its row.
void StretchFollower::align(Pair& pair, int stretch, double lag, Scratch& scratch) const {
    if (pair.slope != 0.0) lag += pair.slope * (middleOf(stretch) - centre);
    spectra.copyStretch(stretch, pair.first, pair.second, std::span(scratch.cross).subspan(0, firstPool + poolCount));
    const float *re = pair.baseRe.data(), *im = pair.baseIm.data();
    if (lag != 0.0) {
        kernels::turnTable(poolOmega.data(), poolWeight.data(), poolCount, static_cast<float>(lag),
                           scratch.turnRe.data(), scratch.turnIm.data());
        for (std::size_t k = 0; k < poolCount; ++k) {
            const float scale = 1.0f / poolWeight[k];
            const float x = scale * scratch.turnRe[k], y = scale * scratch.turnIm[k];
            scratch.turnRe[k] = x * re[k] - y * im[k];
            scratch.turnIm[k] = x * im[k] + y * re[k];
        }
        re = scratch.turnRe.data();
        im = scratch.turnIm.data();
    }
    kernels::alignStretch(scratch.cross.data() + firstPool, re, im, poolCount, scratch.alignedRe.data(),
                          scratch.alignedIm.data());
    const std::size_t row = static_cast<std::size_t>(stretch) * stride();
    gather(scratch.alignedRe.data(), scratch.alignedIm.data(), pair.groupRe.data() + row, pair.groupIm.data() + row);
}

StretchFollower::Step StretchFollower::newton(const float* re, const float* im, std::span<const float> v, double lag,
                                              double reach) const {
    Step step;
    const double from = lag;
    for (int k = 0;; ++k) {
        const auto sums = kernels::lagSums(re, im, omega.data(), v.data(), groupCount, static_cast<float>(lag));
        const double bend = static_cast<double>(sums.bend);
        step.lag = lag;
        step.height = static_cast<double>(sums.value);
        step.peak = bend < 0.0 && step.height > 0.0 && std::abs(lag - from) < reach;
        if (!step.peak) return step;
        step.uncertainty = std::sqrt(static_cast<double>(sums.squares)) / -bend;
        const double move = -static_cast<double>(sums.slope) / bend;
        if (k == newtonSteps || std::abs(move) < settledSeconds) return step;
        lag += std::clamp(move, -gridStep, gridStep);
    }
}

/// The lag of the tallest point of the grid.
double StretchFollower::search(const float* re, const float* im) const {
    int best = 0;
    float height = -1.0f;
    for (int point = -gridReach; point <= gridReach; ++point) {
        const std::size_t row = static_cast<std::size_t>(point + gridReach) * stride();
        const float here = kernels::turnedSum(re, im, gridRe.data() + row, gridIm.data() + row, groupCount);
        if (here > height) {
            height = here;
            best = point;
        }
    }
    return best * gridStep;
}

std::vector<StretchArrival> StretchFollower::follow(Pair& pair, Scratch& scratch) const {
    if (poolCount == 0 || spectra.stretches() == 0) return {};
    makeRoom(scratch);
    const auto stretches = static_cast<std::size_t>(spectra.stretches());
    std::vector<std::size_t> sounding;
    std::vector<double> base(stretches, 0.0); // lag that is taken out of the stretch's groups
    std::vector<Step> steps(stretches);
    const auto rowRe = [&](std::size_t k) { return pair.groupRe.data() + k * stride(); };
    const auto rowIm = [&](std::size_t k) { return pair.groupIm.data() + k * stride(); };
    std::vector<double> heights;
    for (std::size_t k = 0; k < stretches; ++k) {
        if (!sounds(pair, static_cast<int>(k))) continue;
        sounding.push_back(k);
        steps[k] = newton(rowRe(k), rowIm(k), flat, 0.0, nearSeconds);
        if (steps[k].peak) heights.push_back(steps[k].height);
    }
    if (sounding.empty()) return {};
    // Where the peak is missing or low, another is looked for, from the tallest stretch outwards.
    // A height that is reached where the arrival was met, though in many stretches it was not.
    const double usual = std::max(quantileOf(heights, 0.75), 2.0 * aboveNoise * noiseHeight);
    const auto tallest =
        static_cast<std::size_t>(std::max_element(sounding.begin(), sounding.end(),
                                                  [&](auto a, auto b) { return steps[a].height < steps[b].height; }) -
                                 sounding.begin());
    const auto retrace = [&](std::size_t k, double near) {
        const bool good = steps[k].peak && steps[k].height >= lowPeak * usual;
        if (good && std::abs(steps[k].lag - near) < gridStep) return;
        const auto tryFrom = [&](double lag, bool wide) {
            align(pair, static_cast<int>(k), lag, scratch);
            const double found = wide ? search(rowRe(k), rowIm(k)) : 0.0;
            if (std::abs(found) > gridStep) {
                lag += found;
                align(pair, static_cast<int>(k), lag, scratch);
            }
            Step step = newton(rowRe(k), rowIm(k), flat, 0.0, nearSeconds);
            step.lag += lag;
            if (step.peak && (!steps[k].peak || step.height > (wide ? taller : 1.0 / taller) * steps[k].height)) {
                steps[k] = step;
                base[k] = lag;
            }
        };
        if (std::abs(steps[k].lag - near) >= gridStep) tryFrom(near, false);
        if (!steps[k].peak || steps[k].height < lowPeak * usual) tryFrom(near, true);
        // The groups stay aligned as the lag that was kept needs it.
        align(pair, static_cast<int>(k), base[k], scratch);
    };
    const auto runFrom = [&](std::size_t start, std::ptrdiff_t direction) {
        double near = steps[sounding[start]].lag, before = near;
        for (auto n = static_cast<std::ptrdiff_t>(start) + direction; n >= 0 && n < std::ssize(sounding);
             n += direction) {
            const auto k = sounding[static_cast<std::size_t>(n)];
            const double trend = std::clamp(near - before, -1.5e-3, 1.5e-3);
            retrace(k, std::abs(trend) < nearSeconds && std::abs(near) < nearSeconds ? near : near + trend);
            if (!steps[k].peak || steps[k].height < aboveNoise * noiseHeight) continue;
            before = near;
            near = steps[k].lag;
        }
    };
    retrace(sounding[tallest], 0.0);
    runFrom(tallest, 1);
    runFrom(tallest, -1);

    std::vector<StretchArrival> plain;
    std::vector<std::size_t> kept;
    std::vector<double> drifted;
    for (const auto k : sounding)
        if (steps[k].peak && steps[k].height >= aboveNoise * noiseHeight) {
            const double time = middleOf(static_cast<int>(k));
            kept.push_back(k);
            drifted.push_back(pair.slope * (time - centre));
            plain.push_back({Seconds(time), Seconds(steps[k].lag + drifted.back()), Seconds(steps[k].uncertainty)});
        }
    if (kept.size() < fewestForMovement) return plain;

    // Maximum-likelihood weights a/(1-a^2), a being how well a group's phase repeats, in place of f^-0.75.
    auto& v = scratch.weights;
    v.assign(stride(), 0.0f);
    for (std::size_t g = 0; g < groupCount; ++g) {
        double sum = 0.0;
        for (const auto k : kept) {
            const double angle = static_cast<double>(omega[g]) * (steps[k].lag - base[k]);
            sum +=
                static_cast<double>(rowRe(k)[g]) * std::cos(angle) - static_cast<double>(rowIm(k)[g]) * std::sin(angle);
        }
        const auto pools = static_cast<double>(groupFrom[g + 1] - groupFrom[g]);
        const double a = std::min(mostCoherent, sum / (static_cast<double>(kept.size()) * pair.groupWeight[g]));
        const double chance = 2.0 / std::sqrt(2.0 * pools * static_cast<double>(kept.size()));
        // A group's sum bears its bins' weight; its variance is that of its pools.
        if (a > chance) v[g] = static_cast<float>(a / (1.0 - a * a) * pools / pair.groupWeight[g]);
    }
    std::vector<StretchArrival> likely = plain;
    for (std::size_t n = 0; n < kept.size(); ++n) {
        const auto k = kept[n];
        const Step step = newton(rowRe(k), rowIm(k), v, steps[k].lag - base[k], nearSeconds);
        if (!step.peak) return plain;
        likely[n].lag = Seconds(step.lag + base[k] + drifted[n]);
        likely[n].uncertainty = Seconds(step.uncertainty);
    }
    return restless(likely) < clearlyLess * restless(plain) ? likely : plain;
}

std::optional<StretchFollower::Turning> StretchFollower::turning(int first, int second, Scratch& scratch) const {
    const auto stretches = static_cast<std::size_t>(spectra.stretches());
    if (poolCount == 0 || stretches < fewestForMovement) return std::nullopt;
    const std::size_t size = poolOmega.size();
    makeRoom(scratch);
    scratch.phasorRe.assign(stretches * size, 0.0f);
    scratch.phasorIm.assign(stretches * size, 0.0f);
    std::fill(scratch.turnRe.begin(), scratch.turnRe.end(), 1.0f);
    std::fill(scratch.turnIm.begin(), scratch.turnIm.end(), 0.0f);
    scratch.groupRe.assign(stride(), 0.0f);
    scratch.groupIm.assign(stride(), 0.0f);
    std::vector<bool> sounds(stretches);
    for (std::size_t k = 0; k < stretches; ++k) {
        const int stretch = static_cast<int>(k);
        sounds[k] = spectra.sounds(first, stretch) && spectra.sounds(second, stretch);
        if (!sounds[k]) continue;
        spectra.copyStretch(stretch, first, second, std::span(scratch.cross).subspan(0, firstPool + poolCount));
        kernels::alignStretch(scratch.cross.data() + firstPool, scratch.turnRe.data(), scratch.turnIm.data(), poolCount,
                              scratch.phasorRe.data() + k * size, scratch.phasorIm.data() + k * size);
    }
    // From neighbours, then from stretches twice as far apart, each time from the slope so far.
    std::optional<Turning> found;
    double slope = 0.0; // s per s
    for (std::size_t apart = 1; apart < stretches; apart *= 2) {
        double terms = 0.0, over = 0.0; // seconds, on average
        for (std::size_t k = 0; k + apart < stretches; ++k)
            if (sounds[k] && sounds[k + apart]) {
                terms += 1.0;
                over += middleOf(static_cast<int>(k + apart)) - middleOf(static_cast<int>(k));
            }
        if (terms < 1.0) break;
        over /= terms;
        const double expected = slope * over;
        kernels::turnTable(poolOmega.data(), poolWeight.data(), poolCount, static_cast<float>(expected),
                           scratch.turnRe.data(), scratch.turnIm.data());
        std::fill(scratch.alignedRe.begin(), scratch.alignedRe.end(), 0.0f);
        std::fill(scratch.alignedIm.begin(), scratch.alignedIm.end(), 0.0f);
        for (std::size_t k = 0; k + apart < stretches; ++k) {
            if (!sounds[k] || !sounds[k + apart]) continue;
            const float *aRe = scratch.phasorRe.data() + k * size, *aIm = scratch.phasorIm.data() + k * size;
            const float *bRe = aRe + apart * size, *bIm = aIm + apart * size;
            for (std::size_t p = 0; p < poolCount; ++p) { // b conj(a)
                scratch.alignedRe[p] += bRe[p] * aRe[p] + bIm[p] * aIm[p];
                scratch.alignedIm[p] += bIm[p] * aRe[p] - bRe[p] * aIm[p];
            }
        }
        for (std::size_t p = 0; p < poolCount; ++p) {
            const float x = scratch.alignedRe[p], y = scratch.alignedIm[p];
            scratch.alignedRe[p] = x * scratch.turnRe[p] - y * scratch.turnIm[p];
            scratch.alignedIm[p] = x * scratch.turnIm[p] + y * scratch.turnRe[p];
        }
        gather(scratch.alignedRe.data(), scratch.alignedIm.data(), scratch.groupRe.data(), scratch.groupIm.data());
        const double start = apart == 1 ? search(scratch.groupRe.data(), scratch.groupIm.data()) : 0.0;
        const Step step = newton(scratch.groupRe.data(), scratch.groupIm.data(), flat, start, nearSeconds);
        if (!step.peak || step.height < turningAbove * noiseHeight * std::sqrt(terms)) break;
        slope = (expected + step.lag) / over;
        if (std::abs(slope) > mostPpm * 1e-6) return std::nullopt;
        found = Turning{slope * 1e6, step.uncertainty / over * 1e6};
    }
    return found;
}

} // namespace spillwright
