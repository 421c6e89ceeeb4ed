#include "Core/Propose/Standing.h"

#include "Core/RandomStream.h"
#include "Core/Statistics.h"
#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

namespace spillwright {

namespace {

using Eigen::MatrixXd;

/// A run of kept stretches: of each third octave in which something sounds somewhere, the powers and what is in phase
/// of all pairs, under the proposal's nudges and under the start's.
struct PartSums {
    Seconds from, to;
    std::vector<MatrixXd> proposed, start;
};

class Reader {
public:
    Reader(const CrossSpectra& of, std::span<const TrackAdjustment> adjustments, Band band, const SummationModel& m)
        : spectra(of), model(m), tracks(model.trackIndices()) {
        const auto pools = spectra.pools();
        const int bins = pools.empty() ? 0 : pools.back().firstBin + pools.back().bins;
        for (const auto& octave : thirdOctaveBins(band, spectra.binWidth(), bins))
            if (octave.lastBin >= octave.firstBin) {
                octaves.push_back(octave);
                past = std::max(past, octave.lastBin + 1);
            }
        while (poolCount < pools.size() && pools[poolCount].firstBin < past)
            ++poolCount;
        for (const auto& adjustment : adjustments)
            responses.push_back(mixResponse(adjustment, past, spectra.binWidth(), spectra.sampleRate()));
    }

    const std::vector<ThirdOctaveBins>& thirds() const { return octaves; }

    /// Of stretches first..last-1, in each third octave: Re sum of w_i w_j* S_ij exp(-j omega (t_i - t_j)).
    PartSums read(int first, int last, const std::vector<double>& proposed, const std::vector<double>& start) const {
        const auto n = static_cast<Eigen::Index>(tracks.size());
        PartSums sums{Seconds(static_cast<double>(spectra.stretchSpan(first).from) / spectra.sampleRate()),
                      Seconds(static_cast<double>(spectra.stretchSpan(last - 1).to) / spectra.sampleRate()),
                      std::vector<MatrixXd>(octaves.size(), MatrixXd(n, n)),
                      std::vector<MatrixXd>(octaves.size(), MatrixXd(n, n))};
        std::vector<std::complex<float>> values(poolCount);
        std::vector<std::complex<double>> cross(static_cast<std::size_t>(past));
        for (Eigen::Index j = 0; j < n; ++j)
            for (Eigen::Index i = 0; i <= j; ++i) {
                std::fill(cross.begin(), cross.end(), std::complex<double>());
                const double overlap = model.overlap(static_cast<int>(i), static_cast<int>(j));
                for (int stretch = first; stretch < last; ++stretch) {
                    spectra.copyStretch(stretch, tracks[at(i)], tracks[at(j)], values);
                    addTo(cross, values, spectra.windowsOf(stretch));
                }
                for (std::size_t bin = 0; bin < cross.size(); ++bin)
                    cross[bin] *= overlap * responses[at(i)][bin] * std::conj(responses[at(j)][bin]);
                for (std::size_t b = 0; b < octaves.size(); ++b) {
                    sums.proposed[b](i, j) = sums.proposed[b](j, i) =
                        inPhase(cross, octaves[b], proposed[at(i)] - proposed[at(j)]);
                    sums.start[b](i, j) = sums.start[b](j, i) = inPhase(cross, octaves[b], start[at(i)] - start[at(j)]);
                }
            }
        return sums;
    }

private:
    static std::size_t at(Eigen::Index index) { return static_cast<std::size_t>(index); }

    void addTo(std::vector<std::complex<double>>& cross, std::span<const std::complex<float>> values,
               double weight) const {
        const auto pools = spectra.pools();
        for (std::size_t k = 0; k < values.size(); ++k)
            for (int bin = pools[k].firstBin; bin < std::min(past, pools[k].firstBin + pools[k].bins); ++bin)
                cross[static_cast<std::size_t>(bin)] += weight / pools[k].bins * std::complex<double>(values[k]);
    }

    double inPhase(const std::vector<std::complex<double>>& cross, const ThirdOctaveBins& octave, double lag) const {
        double sum = 0.0;
        for (int bin = octave.firstBin; bin <= octave.lastBin; ++bin) {
            const double turn = 2.0 * std::numbers::pi * bin * spectra.binWidth() * lag;
            const auto& value = cross[static_cast<std::size_t>(bin)];
            sum += value.real() * std::cos(turn) + value.imag() * std::sin(turn);
        }
        return sum;
    }

    const CrossSpectra& spectra;
    const SummationModel& model;
    const std::vector<int>& tracks;
    std::vector<ThirdOctaveBins> octaves;
    std::vector<std::vector<std::complex<double>>> responses;
    std::size_t poolCount = 0;
    int past = 0; // the last bin of the band
};

/// G's matrix of third octaves that weigh as their share of the band; empty where nothing sounds.
MatrixXd weighed(const std::vector<MatrixXd>& sums, const std::vector<ThirdOctaveBins>& octaves) {
    MatrixXd matrix;
    double shares = 0.0;
    for (std::size_t b = 0; b < sums.size(); ++b) {
        const double power = sums[b].trace();
        if (!(power > 0.0)) continue;
        if (matrix.size() == 0) matrix = MatrixXd::Zero(sums[b].rows(), sums[b].cols());
        matrix += octaves[b].share / power * sums[b];
        shares += octaves[b].share;
    }
    return shares > 0.0 ? MatrixXd(matrix / shares) : matrix;
}

double gainOf(const MatrixXd& matrix, const std::vector<bool>& flips) {
    Eigen::VectorXd signs(matrix.rows());
    for (Eigen::Index i = 0; i < signs.size(); ++i)
        signs[i] = flips[static_cast<std::size_t>(i)] ? -1.0 : 1.0;
    return signs.dot(matrix * signs);
}

constexpr double deepest = 1e-10;   // -100 dB is as good as silence
constexpr double stillBelow = 1e-4; // of the loudest part's power: nobody plays

/// How far the unit of a track may be off: the smaller of both ways.
std::optional<double> reachOf(const SummationModel& model, const Proposal& proposal, const std::vector<int>& unit,
                              int of) {
    const double full = 2.0 * std::numbers::pi;
    const auto& frequencies = model.frequencies();
    std::vector<std::complex<double>> pull(frequencies.size()); // G changes by 2 Re sum of pull (e^{-j omega t} - 1)
    const auto sign = [&](int track) { return proposal.flips[static_cast<std::size_t>(track)] ? -1.0 : 1.0; };
    for (int i = 0; i < model.trackCount(); ++i) {
        if (unit[static_cast<std::size_t>(i)] != of) continue;
        for (int j = 0; j < model.trackCount(); ++j) {
            if (unit[static_cast<std::size_t>(j)] == of) continue;
            const double lag =
                proposal.nudges[static_cast<std::size_t>(i)] - proposal.nudges[static_cast<std::size_t>(j)];
            for (std::size_t k = 0; k < pull.size(); ++k)
                pull[k] += 2.0 * sign(i) * sign(j) * model.weighted(static_cast<int>(k), i, j) *
                           std::polar(1.0, -full * frequencies[k] * lag);
        }
    }
    const auto loses = [&](double off) {
        double change = 0.0;
        for (std::size_t k = 0; k < pull.size(); ++k)
            change += (pull[k] * (std::polar(1.0, -full * frequencies[k] * off) - 1.0)).real();
        return decibelsOfPower(proposal.gain) - decibelsOfPower(std::max(proposal.gain + change, deepest)) >
               Standing::nudgeLossDb;
    };
    constexpr double step = 2e-5; // seconds: a thirtieth of a period of the low-mids
    const auto eitherLoses = [&](double off) { return loses(off) || loses(-off); };
    for (double off = step; off <= Standing::farthestOff; off += step) {
        if (!eitherLoses(off)) continue;
        double within = off - step, beyond = off;
        for (int halving = 0; halving < 10; ++halving) {
            const double middle = 0.5 * (within + beyond);
            (eitherLoses(middle) ? beyond : within) = middle;
        }
        return within;
    }
    return std::nullopt;
}

} // namespace

std::vector<std::optional<double>> mayBeOff(const SummationModel& model, const Constraints& constraints,
                                            const Proposal& proposal, Workers& workers, const Watch& watch) {
    const auto unit = constraints.completed(model.trackCount()).unit;
    std::vector<std::optional<double>> reaches(unit.size());
    workers.forEach(reaches.size(), [&](std::size_t track, int) {
        if (!watch.stopped()) reaches[track] = reachOf(model, proposal, unit, unit[track]);
    });
    return reaches;
}

std::optional<Standing> standingOf(const CrossSpectra& spectra, std::span<const TrackAdjustment> adjustments, Band band,
                                   const SummationModel& model, const Constraints& constraints,
                                   const Proposal& proposal, Workers& workers, const Watch& watch) {
    const auto n = static_cast<std::size_t>(model.trackCount());
    const Constraints limits = constraints.completed(model.trackCount());

    Standing standing;
    standing.mayBeOff = mayBeOff(model, constraints, proposal, workers, watch);

    const int stretches = spectra.stretches();
    const int count = std::min(stretches, Standing::mostParts);
    const Reader reader(spectra, adjustments, band, model);
    std::vector<PartSums> parts(static_cast<std::size_t>(count));
    workers.forEach(parts.size(), [&](std::size_t part, int) {
        if (watch.stopped()) return;
        const auto edge = [&](std::size_t k) {
            return static_cast<int>(k * static_cast<std::size_t>(stretches) / parts.size());
        };
        parts[part] = reader.read(edge(part), edge(part + 1), proposal.nudges, limits.startNudges);
    });
    if (watch.stopped()) return std::nullopt;

    const auto powerOf = [](const PartSums& part) {
        double power = 0.0;
        for (const auto& octave : part.proposed)
            power += octave.trace();
        return power;
    };
    double loudest = 0.0;
    for (const auto& part : parts)
        loudest = std::max(loudest, powerOf(part));
    std::vector<double> wins;
    for (const auto& part : parts) {
        const auto proposed = weighed(part.proposed, reader.thirds());
        if (proposed.size() == 0 || powerOf(part) < stillBelow * loudest) continue;
        const double before = gainOf(weighed(part.start, reader.thirds()), limits.start);
        wins.push_back(decibelsOfPower(std::max(gainOf(proposed, proposal.flips), deepest)) -
                       decibelsOfPower(std::max(before, deepest)));
        standing.parts.push_back({part.from, part.to, wins.back()});
    }
    if (!wins.empty()) {
        standing.medianDb = medianOf(wins);
        const auto least = std::min_element(standing.parts.begin(), standing.parts.end(),
                                            [](const auto& a, const auto& b) { return a.winsDb < b.winsDb; });
        standing.worst = static_cast<std::size_t>(least - standing.parts.begin());
    }
    if (static_cast<int>(standing.parts.size()) < Standing::fewestParts) return standing;

    std::vector<std::vector<bool>> stood(Standing::resamples);
    workers.forEach(stood.size(), [&](std::size_t resample, int) {
        if (watch.stopped()) return;
        RandomStream random(1 + resample);
        std::vector<MatrixXd> sums(reader.thirds().size(), MatrixXd::Zero(model.trackCount(), model.trackCount()));
        for (std::size_t k = 0; k < parts.size(); ++k) {
            const auto drawn = static_cast<std::size_t>(random.below(static_cast<int>(parts.size())));
            for (std::size_t b = 0; b < sums.size(); ++b)
                sums[b] += parts[drawn].proposed[b];
        }
        const auto matrix = weighed(sums, reader.thirds());
        if (matrix.size() > 0) stood[resample] = flipsThatStand(model, constraints, proposal, matrix, watch);
    });
    if (watch.stopped()) return std::nullopt;
    std::size_t asked = 0;
    standing.stands.assign(n, 0.0);
    for (const auto& tracks : stood) {
        if (tracks.empty()) continue;
        ++asked;
        for (std::size_t track = 0; track < n; ++track)
            standing.stands[track] += tracks[track];
    }
    for (double& share : standing.stands)
        share /= static_cast<double>(std::max<std::size_t>(1, asked));
    return standing;
}

} // namespace spillwright
