#include "Core/Sources/CloseTracks.h"

#include <Eigen/Core>

#include <algorithm>
#include <cmath>
#include <limits>
#include <new>
#include <optional>

namespace spillwright {

namespace {

constexpr std::int64_t mostWindows = 240;
constexpr double loudest = 0.15;       // of the windows of a track, in which it may be compared with another
constexpr double quantile = 0.25;      // of the ratios found there
constexpr double sameSourceDb = 2.0;   // at most so far apart: tracks of one source
constexpr double explainedBelow = 0.2; // of its divergence left: a sum of the others
constexpr double unsureFrom = 0.16, unsureTo = 0.25;
constexpr int updates = 40;
constexpr float leastPower = 1e-6f; // of a track's mean in the band

/// Value at a share of the way from the smallest to the largest.
float quantileOf(std::vector<float>& values, double share) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1) + 0.5);
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

/// Powers of some windows and of those just before, each track's mean in each band 1.
class Powers {
public:
    struct OfBand {
        Eigen::ArrayXXf now, before; ///< [window][track]
    };

    Powers(const WindowSpectra& windows, std::span<const int> tracks)
        : bands(windows.bands().size()), share(Eigen::ArrayXXd::Zero(std::ssize(tracks), std::ssize(bands))) {
        const std::int64_t usable = windows.windows() - 1;
        const std::int64_t count = std::clamp<std::int64_t>(usable, 0, mostWindows);
        for (std::size_t b = 0; b < bands.size(); ++b) {
            auto& of = bands[b];
            of.now = of.before = Eigen::ArrayXXf::Zero(count, std::ssize(tracks));
            for (Eigen::Index t = 0; t < std::ssize(tracks); ++t) {
                const int track = tracks[static_cast<std::size_t>(t)];
                double sum = 0.0;
                for (std::int64_t k = 0; k < count; ++k) {
                    const std::int64_t window = 1 + (2 * k + 1) * usable / (2 * count);
                    of.now(k, t) = windows.power(track, window, static_cast<int>(b));
                    of.before(k, t) = windows.power(track, window - 1, static_cast<int>(b));
                    sum += static_cast<double>(of.now(k, t));
                }
                share(t, static_cast<Eigen::Index>(b)) = sum;
                if (sum <= 0.0) continue;
                const auto scale = static_cast<float>(static_cast<double>(count) / sum);
                of.now.col(t) = (of.now.col(t) * scale).max(leastPower);
                of.before.col(t) = (of.before.col(t) * scale).max(leastPower);
            }
        }
        for (Eigen::Index t = 0; t < share.rows(); ++t)
            if (const double sum = share.row(t).sum(); sum > 0.0) share.row(t) /= sum;
    }

    std::vector<OfBand> bands;
    Eigen::ArrayXXd share; ///< [track][band] Of the track's power; all 0: silent.
};

double divergence(const Eigen::ArrayXf& of, const Eigen::ArrayXf& from) {
    return static_cast<double>((of * (of / from).log() - of + from).sum());
}

/// What is left of a track's divergence from its mean when the given others are added up to resemble it.
double leftOver(const Powers::OfBand& powers, int track, std::span<const int> others) {
    const auto windows = powers.now.rows();
    const Eigen::ArrayXf wanted = powers.now.col(track);
    const auto count = std::ssize(others);
    Eigen::MatrixXf parts(windows, 2 * count + 1);
    for (Eigen::Index k = 0; k < count; ++k) {
        const int other = others[static_cast<std::size_t>(k)];
        parts.col(2 * k) = powers.now.col(other);
        parts.col(2 * k + 1) = powers.before.col(other);
    }
    parts.col(2 * count).setOnes();
    Eigen::VectorXf weights = Eigen::VectorXf::Constant(parts.cols(), 1.0f / static_cast<float>(parts.cols()));
    const Eigen::ArrayXf sums = parts.colwise().sum().transpose();
    Eigen::VectorXf sum = parts * weights;
    for (int update = 0; update < updates; ++update) {
        weights.array() *= (parts.transpose() * (wanted / sum.array()).matrix()).array() / sums;
        sum.noalias() = parts * weights;
    }
    return divergence(wanted, sum.array());
}

/// Tracks of one source, the one that stands for it first.
using Group = std::vector<int>;

class Guesser {
public:
    Guesser(const Powers& ofAll, std::span<const int> usable, std::span<const CloseHint> names, Workers& hands,
            const Watch& watched)
        : powers(ofAll), tracks(usable), hints(names), workers(hands), watch(watched) {}

    std::optional<CloseTrackGuess> guess() {
        makeGroups();
        if (!drop()) return std::nullopt;
        CloseTrackGuess made;
        for (const auto& group : groups) {
            Source source;
            for (const int t : group)
                source.closeTracks.push_back(tracks[static_cast<std::size_t>(t)]);
            made.plan.sources.push_back(std::move(source));
        }
        std::sort(made.plan.sources.begin(), made.plan.sources.end(), [](const Source& a, const Source& b) {
            return *std::min_element(a.closeTracks.begin(), a.closeTracks.end()) <
                   *std::min_element(b.closeTracks.begin(), b.closeTracks.end());
        });
        for (const int t : open)
            made.unsure.push_back(tracks[static_cast<std::size_t>(t)]);
        std::sort(made.unsure.begin(), made.unsure.end());
        return made;
    }

private:
    const Powers& powers;
    std::span<const int> tracks;
    std::span<const CloseHint> hints;
    Workers& workers;
    const Watch& watch;
    std::vector<Group> groups;
    std::vector<int> open;

    CloseHint hintOf(const Group& group) const {
        for (const int t : group)
            if (const auto track = static_cast<std::size_t>(tracks[static_cast<std::size_t>(t)]);
                track < hints.size() && hints[track] != CloseHint::unknown)
                return hints[track];
        return CloseHint::unknown;
    }

    /// How much less than in proportion `other` sounds while `track` is loudest, dB.
    double apart(int track, int other) const {
        const auto windows = powers.bands.front().now.rows();
        const auto some =
            std::max<Eigen::Index>(1, static_cast<Eigen::Index>(std::lround(loudest * static_cast<double>(windows))));
        double mean = 0.0;
        std::vector<Eigen::Index> order(static_cast<std::size_t>(windows));
        std::vector<float> ratios(static_cast<std::size_t>(some));
        for (std::size_t b = 0; b < powers.bands.size(); ++b) {
            const double weight = powers.share(track, static_cast<Eigen::Index>(b));
            if (weight <= 0.0 || powers.share(other, static_cast<Eigen::Index>(b)) <= 0.0) continue;
            const auto& now = powers.bands[b].now;
            for (std::size_t k = 0; k < order.size(); ++k)
                order[k] = static_cast<Eigen::Index>(k);
            std::nth_element(order.begin(), order.begin() + some - 1, order.end(), [&](auto i, auto j) {
                return std::pair(-now(i, track), i) < std::pair(-now(j, track), j);
            });
            for (std::size_t k = 0; k < ratios.size(); ++k)
                ratios[k] = now(order[k], other) / now(order[k], track);
            mean += weight * decibelsOfPower(static_cast<double>(quantileOf(ratios, quantile)));
        }
        return -mean;
    }

    /// From its quiet to its loud moments, dB.
    double range(int track) const {
        double mean = 0.0;
        for (std::size_t b = 0; b < powers.bands.size(); ++b) {
            const double weight = powers.share(track, static_cast<Eigen::Index>(b));
            if (weight <= 0.0) continue;
            const auto& now = powers.bands[b].now;
            std::vector<float> values(now.col(track).begin(), now.col(track).end());
            const double loud = static_cast<double>(quantileOf(values, 0.95));
            mean += weight * decibelsOfPower(loud / static_cast<double>(quantileOf(values, 0.10)));
        }
        return mean;
    }

    /// The two groups that are closest to each other are joined while all their tracks are close to each other.
    void makeGroups() {
        const auto count = std::ssize(tracks);
        Eigen::ArrayXXd distance = Eigen::ArrayXXd::Zero(count, count);
        workers.forEach(static_cast<std::size_t>(count), [&](std::size_t item, int) {
            const auto i = static_cast<int>(item);
            for (int j = 0; j < count; ++j)
                if (i != j) distance(i, j) = apart(i, j);
        });
        for (int t = 0; t < count; ++t)
            if (powers.share.row(t).sum() > 0.0) groups.push_back({t});
        const auto farthest = [&](const Group& a, const Group& b) {
            double most = -std::numeric_limits<double>::infinity();
            for (const int i : a)
                for (const int j : b)
                    most = std::max(most, distance(i, j) + distance(j, i));
            return most;
        };
        for (;;) {
            double best = sameSourceDb;
            std::size_t into = 0, from = 0;
            for (std::size_t a = 0; a < groups.size(); ++a)
                for (std::size_t b = a + 1; b < groups.size(); ++b)
                    if (const double d = farthest(groups[a], groups[b]); d <= best)
                        if (from == 0 || d < best) {
                            best = d;
                            into = a;
                            from = b;
                        }
            if (from == 0) break;
            groups[into].insert(groups[into].end(), groups[from].begin(), groups[from].end());
            groups.erase(groups.begin() + static_cast<std::ptrdiff_t>(from));
        }
        for (auto& group : groups) {
            std::sort(group.begin(), group.end());
            const auto first =
                std::max_element(group.begin(), group.end(), [&](int i, int j) { return range(i) < range(j); });
            std::rotate(group.begin(), first, first + 1);
        }
    }

    /// Of each group that is left, how much of it the others do not explain.
    std::vector<double> unexplained() const {
        const auto bands = powers.bands.size();
        std::vector<double> left(groups.size() * bands), whole(left.size());
        workers.forEach(left.size(), [&](std::size_t item, int) {
            const auto& powersOfBand = powers.bands[item % bands];
            const int track = groups[item / bands].front();
            const double weight = std::sqrt(powers.share(track, static_cast<Eigen::Index>(item % bands)));
            if (weight <= 0.0) return;
            std::vector<int> others;
            for (const auto& group : groups)
                if (group.front() != track &&
                    powers.share(group.front(), static_cast<Eigen::Index>(item % bands)) > 0.0)
                    others.push_back(group.front());
            const Eigen::ArrayXf wanted = powersOfBand.now.col(track);
            whole[item] = weight * divergence(wanted, Eigen::ArrayXf::Constant(wanted.size(), wanted.mean()));
            left[item] = weight * leftOver(powersOfBand, track, others);
        });
        std::vector<double> shares;
        for (std::size_t g = 0; g < groups.size(); ++g) {
            double sum = 0.0, all = 0.0;
            for (std::size_t b = 0; b < bands; ++b) {
                sum += left[g * bands + b];
                all += whole[g * bands + b];
            }
            shares.push_back(all > 0.0 ? sum / all : 0.0);
        }
        return shares;
    }

    /// Drops one group after the other, the best explained first. False: stopped.
    bool drop() {
        for (;;) {
            if (watch.stopped()) return false;
            if (groups.size() < 2) return true;
            const auto shares = unexplained();
            std::size_t least = groups.size();
            for (std::size_t g = 0; g < groups.size(); ++g) {
                const auto hint = hintOf(groups[g]);
                const double limit = hint == CloseHint::close  ? unsureFrom
                                     : hint == CloseHint::room ? unsureTo
                                                               : explainedBelow;
                if (shares[g] < limit && (least == groups.size() || shares[g] < shares[least])) least = g;
            }
            const auto leaveOpen = [&](std::size_t g) {
                if (shares[g] >= unsureFrom && shares[g] < unsureTo && hintOf(groups[g]) == CloseHint::unknown)
                    open.insert(open.end(), groups[g].begin(), groups[g].end());
            };
            if (least == groups.size()) {
                for (std::size_t g = 0; g < groups.size(); ++g)
                    leaveOpen(g);
                return true;
            }
            leaveOpen(least);
            groups.erase(groups.begin() + static_cast<std::ptrdiff_t>(least));
        }
    }
};

} // namespace

Result<CloseTrackGuess> guessCloseTracks(const WindowSpectra& windows, std::span<const int> usableTracks,
                                         std::span<const CloseHint> hints, Workers& workers, const Watch& watch) {
    try {
        const Powers powers(windows, usableTracks);
        if (powers.bands.empty() || powers.bands.front().now.rows() == 0) return CloseTrackGuess{};
        if (auto guess = Guesser(powers, usableTracks, hints, workers, watch).guess()) return std::move(*guess);
        return Fault{"close tracks", "stopped", "", Fault::Kind::cancelled};
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it to tell which track stands close to what", "close other programs"};
    }
}

} // namespace spillwright
