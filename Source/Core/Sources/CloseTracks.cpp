#include "Core/Sources/CloseTracks.h"

#include "Core/Measure/Kernels.h"
#include "Core/Sources/PowerModel.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>

#include <algorithm>
#include <cmath>
#include <limits>
#include <new>
#include <numeric>
#include <optional>

namespace spillwright {

namespace {

constexpr std::int64_t mostWindows = 240; // spread evenly; of all of them the guess is the same
constexpr float leastPower = 1e-6f;       // of a track's mean in a band

// Tracks that move alike.
constexpr double loudest = 0.15;         // of the windows of a track, in which it may be compared with another
constexpr double quantile = 0.25;        // of the ratios found there
constexpr double alikeDb = 2.0;          // so far apart at most: one source, if ...
constexpr double alikeCoherence = 0.6;   // ... they are coherent: players in unison are not
constexpr double joinedDb = 3.9;         // so far apart at most, one a sum of others: one source, if ...
constexpr double joinedCoherence = 0.75; // ... they are coherent, and ...
constexpr double joinedShare = 0.5;      // ... the one makes up so much of the other

// Sums of others.
constexpr int updates = 40;
constexpr double peaking = 4.0; // exponent of the mean over bands: one band of its own makes a source
constexpr double bandExponent = 0.1;
constexpr double explained = 0.3; // of its divergence left, at most: a sum of the others
constexpr double explainedSurely = 0.24, unexplainedSurely = 0.375;

// Sums of others that are none after all: what is left of them is not reverberation.
constexpr double ownRemainder = 0.08; // of the power that no filters on the others give, at least
constexpr double dry = 0.45;          // share of the windows before, against that remainder
constexpr double drySurely = 0.35, wetSurely = 0.6;
constexpr int binsOfBand = 10; // looked at

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
        Eigen::ArrayXXf now, before;    ///< [window][track]
        Eigen::ArrayXd wholeDivergence; ///< [track] From its mean.
    };

    Powers(const WindowSpectra& windows, std::span<const int> tracks)
        : bands(windows.bands().size()), share(Eigen::ArrayXXd::Zero(std::ssize(tracks), std::ssize(bands))) {
        const std::int64_t usable = windows.windows() - 1;
        const std::int64_t count = std::clamp<std::int64_t>(usable, 0, mostWindows);
        for (std::size_t b = 0; b < bands.size(); ++b) {
            auto& of = bands[b];
            of.now = of.before = Eigen::ArrayXXf::Zero(count, std::ssize(tracks));
            of.wholeDivergence = Eigen::ArrayXd::Zero(std::ssize(tracks));
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
                of.wholeDivergence(t) =
                    divergence(of.now.col(t), Eigen::ArrayXf::Constant(of.now.rows(), of.now.col(t).mean()));
            }
        }
        for (Eigen::Index t = 0; t < share.rows(); ++t)
            if (const double sum = share.row(t).sum(); sum > 0.0) share.row(t) /= sum;
    }

    std::vector<OfBand> bands;
    Eigen::ArrayXXd share; ///< [track][band] Of the track's power; all 0: silent.
};

/// A track's powers as a sum of those of others.
struct SumOfOthers {
    double leftOver = 0.0;      ///< Divergence.
    double before = 0.0;        ///< Share that the windows before have in it.
    std::vector<double> shares; ///< Of each of the others.
};

SumOfOthers sumOfOthers(const Powers::OfBand& powers, int track, std::span<const int> others) {
    const auto windows = powers.now.rows();
    const Eigen::ArrayXf wanted = powers.now.col(track);
    const auto count = std::ssize(others);
    Eigen::MatrixXf parts(windows, 2 * count + 1);
    for (Eigen::Index k = 0; k < count; ++k) {
        const int other = others[static_cast<std::size_t>(k)];
        parts.col(k) = powers.now.col(other);
        parts.col(count + k) = powers.before.col(other);
    }
    parts.col(2 * count).setOnes();
    const auto [each, sum] = sumOfParts(parts, wanted, updates);
    SumOfOthers made;
    made.leftOver = divergence(wanted, sum);
    made.before = static_cast<double>(each.segment(count, count).sum() / each.sum());
    for (Eigen::Index k = 0; k < count; ++k)
        made.shares.push_back(static_cast<double>((each(k) + each(count + k)) / each.sum()));
    return made;
}

/// Cross-spectra of all tracks at some bins of each band, of the kept windows.
class Coherences {
public:
    Coherences(const WindowSpectra& windows, std::span<const int> tracks, Workers& workers)
        : averages(0.947 * static_cast<double>(windows.kept().size())) {
        for (std::size_t b = 0; b < windows.bands().size(); ++b) {
            const auto& band = windows.bands()[b];
            const int count = band.lastBin - band.firstBin + 1, some = std::min(count, binsOfBand);
            for (int k = 0; k < some; ++k)
                bins.push_back({b, band.firstBin + (2 * k + 1) * count / (2 * some), {}});
        }
        workers.forEach(bins.size(), [&](std::size_t item, int) {
            Bin& bin = bins[item];
            Eigen::MatrixXcd spectra(std::ssize(tracks), std::ssize(windows.kept()));
            for (Eigen::Index t = 0; t < spectra.rows(); ++t)
                for (Eigen::Index k = 0; k < spectra.cols(); ++k)
                    spectra(t, k) = std::complex<double>(kernels::keptValue(windows.spectrum(
                        tracks[static_cast<std::size_t>(t)],
                        static_cast<int>(k))[static_cast<std::size_t>(bin.index - windows.firstBin())]));
            bin.sums.noalias() = spectra * spectra.adjoint();
        });
    }

    /// Magnitude squared, mean over frequency, each weighing as both tracks' powers.
    double coherence(int first, int second) const {
        double sum = 0.0, all = 0.0;
        for (const Bin& bin : bins) {
            const double power = std::sqrt(bin.sums(first, first).real() * bin.sums(second, second).real());
            if (power <= 0.0) continue;
            sum += std::norm(bin.sums(first, second)) / power;
            all += power;
        }
        return all > 0.0 ? sum / all : 0.0;
    }

    /// Of a track's power, what no filters on the others' sound give.
    double remainder(int track, std::span<const int> others, const Powers& powers) const {
        const auto count = std::ssize(others);
        std::vector<double> left(powers.bands.size(), 0.0), whole(left);
        Eigen::MatrixXcd among(count, count);
        Eigen::VectorXcd with(count);
        for (const Bin& bin : bins) {
            for (Eigen::Index i = 0; i < count; ++i) {
                const int other = others[static_cast<std::size_t>(i)];
                for (Eigen::Index j = 0; j < count; ++j)
                    among(i, j) = bin.sums(other, others[static_cast<std::size_t>(j)]);
                among(i, i) = among(i, i) * (1.0 + 1e-6) + 1e-30;
                with(i) = bin.sums(other, track);
            }
            const double power = bin.sums(track, track).real();
            const double told = with.dot(among.ldlt().solve(with)).real();
            left[bin.band] +=
                std::max(0.0, power - told) * averages / std::max(1.0, averages - static_cast<double>(count));
            whole[bin.band] += power;
        }
        double sum = 0.0;
        for (std::size_t b = 0; b < left.size(); ++b)
            if (whole[b] > 0.0) sum += powers.share(track, static_cast<Eigen::Index>(b)) * left[b] / whole[b];
        return sum;
    }

private:
    struct Bin {
        std::size_t band = 0;
        int index = 0;
        Eigen::MatrixXcd sums; ///< [track][track]
    };
    std::vector<Bin> bins;
    double averages;
};

/// Tracks of one source, the one that stands for it first.
using Group = std::vector<int>;

class Guesser {
public:
    Guesser(const Powers& ofAll, const Coherences& ofPairs, std::span<const int> usable,
            std::span<const CloseHint> names, Workers& hands, const Watch& watched)
        : powers(ofAll), coherences(ofPairs), tracks(usable), hints(names), workers(hands), watch(watched) {}

    std::optional<CloseTrackGuess> guess() {
        measureDistances();
        makeGroups();
        if (!drop()) return std::nullopt;
        takeBack();
        join();
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
    const Coherences& coherences;
    std::span<const int> tracks;
    std::span<const CloseHint> hints;
    Workers& workers;
    const Watch& watch;
    Eigen::ArrayXXd distance;
    std::vector<Group> groups, dropped;
    std::vector<int> open;

    CloseHint hintOf(const Group& group) const {
        for (const int t : group)
            if (const auto track = static_cast<std::size_t>(tracks[static_cast<std::size_t>(t)]);
                track < hints.size() && hints[track] != CloseHint::unknown)
                return hints[track];
        return CloseHint::unknown;
    }
    /// The limit where names have their say.
    double limitFor(const Group& group, double limit, double ifClose, double ifRoom) const {
        const auto hint = hintOf(group);
        return hint == CloseHint::close ? ifClose : hint == CloseHint::room ? ifRoom : limit;
    }
    void leaveOpen(const Group& group) {
        if (hintOf(group) == CloseHint::unknown) open.insert(open.end(), group.begin(), group.end());
    }
    std::vector<int> firsts(int but = -1) const {
        std::vector<int> some;
        for (const auto& group : groups)
            if (group.front() != but) some.push_back(group.front());
        return some;
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
            std::iota(order.begin(), order.end(), Eigen::Index(0));
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

    void measureDistances() {
        const auto count = std::ssize(tracks);
        distance = Eigen::ArrayXXd::Zero(count, count);
        workers.forEach(static_cast<std::size_t>(count), [&](std::size_t item, int) {
            const auto i = static_cast<int>(item);
            for (int j = 0; j < count; ++j)
                if (i != j) distance(i, j) = apart(i, j);
        });
        distance += distance.transpose().eval();
    }

    double farthest(const Group& a, const Group& b) const {
        double most = -std::numeric_limits<double>::infinity();
        for (const int i : a)
            for (const int j : b)
                most = std::max(most, distance(i, j) <= alikeDb && coherences.coherence(i, j) < alikeCoherence
                                          ? std::numeric_limits<double>::infinity()
                                          : distance(i, j));
        return most;
    }

    /// The two groups that are closest to each other are joined while all their tracks are close to each other.
    void makeGroups() {
        for (int t = 0; t < std::ssize(tracks); ++t)
            if (powers.share.row(t).sum() > 0.0) groups.push_back({t});
        for (;;) {
            double best = alikeDb;
            std::size_t into = 0, from = 0;
            for (std::size_t a = 0; a < groups.size(); ++a)
                for (std::size_t b = a + 1; b < groups.size(); ++b)
                    if (const double d = farthest(groups[a], groups[b]); d < best || (d == best && from == 0)) {
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
        std::vector<double> left(groups.size() * bands);
        workers.forEach(left.size(), [&](std::size_t item, int) {
            const auto& ofBand = powers.bands[item % bands];
            const int track = groups[item / bands].front();
            if (ofBand.wholeDivergence(track) <= 0.0) return;
            left[item] = sumOfOthers(ofBand, track, firsts(track)).leftOver;
        });
        std::vector<double> shares;
        for (std::size_t g = 0; g < groups.size(); ++g) {
            double sum = 0.0, all = 0.0;
            const int track = groups[g].front();
            for (std::size_t b = 0; b < bands; ++b) {
                const double whole = powers.bands[b].wholeDivergence(track);
                if (whole <= 0.0) continue;
                const double weight = whole * std::pow(powers.share(track, static_cast<Eigen::Index>(b)), bandExponent);
                sum += weight * std::pow(left[g * bands + b] / whole, peaking);
                all += weight;
            }
            shares.push_back(all > 0.0 ? std::pow(sum / all, 1.0 / peaking) : 0.0);
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
            for (std::size_t g = 0; g < groups.size(); ++g)
                if (shares[g] < limitFor(groups[g], explained, explainedSurely, unexplainedSurely) &&
                    (least == groups.size() || shares[g] < shares[least]))
                    least = g;
            if (least == groups.size()) {
                for (std::size_t g = 0; g < groups.size(); ++g)
                    if (shares[g] < unexplainedSurely) leaveOpen(groups[g]);
                return true;
            }
            if (shares[least] > explainedSurely) leaveOpen(groups[least]);
            dropped.push_back(groups[least]);
            groups.erase(groups.begin() + static_cast<std::ptrdiff_t>(least));
        }
    }

    /// Of the part of a track that the others do not give, how much can be their reverberation.
    double wetness(int track) const {
        const auto others = firsts();
        const double remainder = coherences.remainder(track, others, powers);
        if (remainder < ownRemainder) return std::numeric_limits<double>::infinity();
        double before = 0.0, all = 0.0;
        for (std::size_t b = 0; b < powers.bands.size(); ++b) {
            const double weight = std::sqrt(powers.share(track, static_cast<Eigen::Index>(b)));
            if (weight <= 0.0) continue;
            before += weight * sumOfOthers(powers.bands[b], track, others).before;
            all += weight;
        }
        return before / all / remainder;
    }

    /// A player who sounds together with others looks like their sum, but is not coherent with them; a room track is
    /// not either, for its reverberation, but that comes later.
    void takeBack() {
        while (!dropped.empty() && !watch.stopped()) {
            std::vector<double> wet(dropped.size());
            workers.forEach(dropped.size(), [&](std::size_t item, int) { wet[item] = wetness(dropped[item].front()); });
            const auto least = std::min_element(wet.begin(), wet.end());
            const auto at = dropped.begin() + (least - wet.begin());
            if (*least >= limitFor(*at, dry, wetSurely, drySurely)) {
                for (std::size_t g = 0; g < dropped.size(); ++g)
                    if (wet[g] < wetSurely) leaveOpen(dropped[g]);
                return;
            }
            if (*least > drySurely) leaveOpen(*at);
            groups.push_back(*at);
            dropped.erase(at);
        }
    }

    /// Of a track's power, what a source makes up.
    double shareOf(int source, int track) const {
        const auto others = firsts();
        const auto at = std::find(others.begin(), others.end(), source) - others.begin();
        double sum = 0.0;
        for (std::size_t b = 0; b < powers.bands.size(); ++b)
            if (const double weight = powers.share(track, static_cast<Eigen::Index>(b)); weight > 0.0)
                sum += weight * sumOfOthers(powers.bands[b], track, others).shares[static_cast<std::size_t>(at)];
        return sum;
    }

    /// Second microphones of a source.
    void join() {
        for (const auto& group : dropped) {
            const int track = group.front();
            const auto nearest = std::min_element(groups.begin(), groups.end(), [&](const Group& a, const Group& b) {
                return distance(track, a.front()) < distance(track, b.front());
            });
            if (distance(track, nearest->front()) > joinedDb) continue;
            if (coherences.coherence(track, nearest->front()) < joinedCoherence) continue;
            if (shareOf(nearest->front(), track) < joinedShare) continue;
            nearest->insert(nearest->end(), group.begin(), group.end());
        }
    }
};

} // namespace

Result<CloseTrackGuess> guessCloseTracks(const WindowSpectra& windows, std::span<const int> usableTracks,
                                         std::span<const CloseHint> hints, Workers& workers, const Watch& watch) {
    try {
        const Powers powers(windows, usableTracks);
        if (powers.bands.empty() || powers.bands.front().now.rows() == 0) return CloseTrackGuess{};
        const Coherences coherences(windows, usableTracks, workers);
        if (auto guess = Guesser(powers, coherences, usableTracks, hints, workers, watch).guess())
            return std::move(*guess);
        return Fault{"close tracks", "stopped", "", Fault::Kind::cancelled};
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it to tell which track stands close to what", "close other programs"};
    }
}

} // namespace spillwright
