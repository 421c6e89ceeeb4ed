#include "Core/Sources/SpillMap.h"

#include "Core/Measure/Kernels.h"
#include "Core/Measure/WindowSpectra.h"
#include "Core/Sources/Demixing.h"
#include "Core/Sources/LeadingPeak.h"
#include "Core/Sources/PowerModel.h"
#include "Core/ThirdOctaves.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>

#include <algorithm>
#include <cmath>
#include <limits>
#include <new>
#include <numeric>

namespace spillwright {

namespace {

constexpr double loading = 1e-6;         // of a source's power at a bin, steadies the regression ...
constexpr double leastLoading = 1e-12;   // ... and of the mean of all of them
constexpr float leastPower = 1e-6f;      // of its mean, of a power that is modelled
constexpr double leastDifference = 0.01; // of mean(a/b) mean(b/a) from 1, for two sources: as good as together
constexpr double beyondModel = 6.0;      // times the scatter of unmixing that the model knows of
constexpr int modelUpdates = 60;
constexpr double mostReverberation = 0.3; // of a sound's power, that outlasts a window
constexpr int unmixingUpdates = 20;

// What of the others is left in a source, of what is told of them in its close track; expected is less.
constexpr int leftUpdates = 40;
constexpr double expectedNow = 0.5; // of the reverberation that outlasts a window, as the source sounds, ...
constexpr double mostNow = 0.3;     // ... at most so much; ...
constexpr double mostBefore = 0.5;  // ... at most so much as it sounded a window before
constexpr double leastOwn = 0.5;    // of what was told as the source, that stays with it
constexpr double leastLeft = 1e-7;  // of the source's power: more than nothing

// Whether a source has no sound of its own in a third octave. All of these hold:
constexpr double absentShare = 0.1;    // at most so much of the source's power is there, ...
constexpr double absentPart = 0.5;     // ... and of what its close track holds there; ...
constexpr double absent = 0.5;         // ... it is a sum of the others, up to so much, ...
constexpr double absentLouderDb = 9.0; // ... or, where it is so much louder in other tracks than usual, ...
constexpr double absentIfLouder = 0.8; // ... up to so much
constexpr int absenceUpdates = 40;
// ... and it is unlike its sound where it makes most of its close track. How much farther from that than from a
// constant:
constexpr double unlike = 1.0;      // more, at least
constexpr double veryUnlike = 3.0;  // from here on less of the above is enough:
constexpr double unlikeShare = 0.2; // for absentShare, ...
constexpr double unlikePart = 0.6;  // ... for absentPart, ...
constexpr double unlikeOwn = 0.9;   // ... and for absent

// How much louder than in most of its sound a source is told in a track in a third octave. More is another's sound.
constexpr double believedDb = 9.0;  // up to here it is believed, ...
constexpr double falseDb = 12.0;    // ... and from here on the usual level is
constexpr double doubtedDb = 3.0;   // both are as much lower where the source has little power there: ...
constexpr double doubtedPart = 0.7; // ... less than absentShare of its own, and than this of its close track's

// What is told.
constexpr double togetherHeardDb = 4.7; // standard deviation of the ratio of two close tracks, at most ...
constexpr double togetherToldDb = 10.0; // ... and of what was told apart of them: always together
constexpr double togetherSpill = 0.04;  // both levels' product, at least: -7 dB each way
constexpr double alikeDb = 2.5;         // that deviation of what was told apart, at most: always together in any case
constexpr double leastOverlap = 0.5;    // of two spectra (Bhattacharyya); of less, they are told apart by colour
constexpr double leastShare = 3.16e-3;  // of a track's power (-25 dB), below which levels lean high
constexpr double leastShareOfThird = 0.03; // the same in a third octave alone
constexpr double plainShare = 0.0316;      // of a track (-15 dB), from which ...
constexpr double plainRivals = 0.4;        // ... so much of its height may come before an arrival's peak, ...
constexpr double faintRivals = 0.25;       // ... and below
constexpr double mostScatter = 0.5;        // one standard deviation of a power, of itself
constexpr double scatterOfModel = 0.3;     // the same of what the power model gives

// Where a source plays alone, for the second way to its level.
constexpr double soloLoud = 0.25;       // of its mean, at least
constexpr double soloAlone = 0.9;       // of all sources' powers, each against its mean
constexpr double soloOthers = 0.3;      // of the track's power then, at most
constexpr std::size_t soloWindows = 8;  // at least
constexpr double contradictionDb = 3.0; // three quarters of those windows are off by more: the ways contradict

// Where a source leads.
constexpr double leadingShare = 0.8;   // of its close track, at least
constexpr double loudDb = -6.0;        // against its own mean, at least
constexpr double longestMoment = 6.0;  // s
constexpr double shortestMoment = 1.0; // s: strokes are shorter, a loop to listen to is not

class SpillReader {
public:
    SpillReader(const CrossSpectra& of, std::span<const int> usable, const ReadingOptions& wanted, Workers& hands,
                const Watch& watched, SpillMap& into)
        : spectra(of), windows(*of.windowSpectra()), tracks(usable), options(wanted), workers(hands), watch(watched),
          map(into), bands(windows.bands().size()), ofBands(bands) {
        for (const auto& source : map.plan.sources)
            closeTracks.push_back(source.closeTracks.front());
        for (const int track : tracks)
            belongsToNone.push_back(
                std::none_of(map.plan.sources.begin(), map.plan.sources.end(), [&](const Source& one) {
                    return std::find(one.closeTracks.begin(), one.closeTracks.end(), track) != one.closeTracks.end();
                }));
        for (const int track : closeTracks)
            ownPlaces.push_back(
                static_cast<std::size_t>(std::find(tracks.begin(), tracks.end(), track) - tracks.begin()));
        // The largest third octaves first, so that the workers end together.
        largestFirst.resize(bands);
        std::iota(largestFirst.begin(), largestFirst.end(), std::size_t(0));
        std::stable_sort(largestFirst.begin(), largestFirst.end(),
                         [&](std::size_t a, std::size_t b) { return binsOf(a) > binsOf(b); });
        const std::size_t count = closeTracks.size() * tracks.size();
        map.readings.resize(count);
        map.firstBin = windows.firstBin();
        const auto bins = static_cast<std::size_t>(windows.binCount());
        map.responses.assign(count, std::vector<std::complex<float>>(bins));
        map.sourcePowers.assign(closeTracks.size(), std::vector<float>(bins));
        map.unmixing.assign(closeTracks.size(), std::vector<std::complex<float>>(bins * closeTracks.size()));
        map.windowLength = spectra.windowLength();
        variances.assign(count, std::vector<float>(bins));
        for (std::size_t k = 0; k < closeTracks.size(); ++k)
            for (std::size_t m = 0; m < tracks.size(); ++m) {
                auto& reading = map.readings[readingAt(k, m)];
                reading.source = static_cast<int>(k);
                reading.track = tracks[m];
            }
    }

    /// False: stopped.
    bool read() {
        for (std::size_t band = 0; band < bands; ++band)
            prepare(band);
        if (!inEach(
                bands, [this](std::size_t item, int) { readSpectra(largestFirst[item]); }, 0.5))
            return false;
        const auto usual = usualLevels();
        const auto sounding = soundElsewhere();
        std::vector<double> whole(closeTracks.size(), 0.0); // power of each source
        for (const auto& of : ofBands)
            for (std::size_t k = 0; k < whole.size(); ++k)
                whole[k] += of.sources[k];
        if (!inEach(
                bands, [&](std::size_t item, int) { leaveOutAbsent(largestFirst[item], usual, whole, sounding); }, 0.8))
            return false;
        holdLevels(whole);
        if (!inEach(
                bands, [this](std::size_t item, int) { modelLeft(largestFirst[item]); }, 0.9))
            return false;
        if (!inEach(
                bands, [this](std::size_t item, int) { giveBackReverberation(largestFirst[item]); }, 0.95))
            return false;
        findTogether();
        tellShares();
        tellLevels();
        compareWithSolos();
        tellPresence();
        return tellArrivals();
    }

private:
    /// Of one third octave; powers are sums over its bins, means over all windows unless they are told of one.
    struct OfBand {
        std::vector<std::size_t> present;    ///< Sources that have sound here, ascending.
        std::vector<std::size_t> others;     ///< Places of the tracks from which none of them is told.
        std::vector<double> tracks;          ///< [place among the tracks]
        std::vector<double> sources;         ///< In their close tracks; 0 of those that are not present.
        std::vector<double> coherent;        ///< [reading] What the response gives, scatter taken out.
        std::vector<double> variance;        ///< [reading] Of it.
        std::vector<double> modelled;        ///< [reading] What the power model adds.
        std::vector<double> late;            ///< [reading] Of that, what sounded a window before.
        std::vector<double> residue;         ///< [place among the others] What the regression leaves.
        bool reverberationGivenBack = false; ///< Tracks that are nobody's told how much of it there is.
        Eigen::ArrayXXf demixed;             ///< [kept window][source]
        Eigen::ArrayXXf left;                ///< [kept window][place among the others]
        Eigen::ArrayXXf moments;             ///< [window][source]

        double all(std::size_t reading) const { return std::max(0.0, coherent[reading]) + modelled[reading]; }
    };

    const CrossSpectra& spectra;
    const WindowSpectra& windows;
    std::span<const int> tracks;
    const ReadingOptions& options;
    Workers& workers;
    const Watch& watch;
    SpillMap& map;
    std::size_t bands;
    std::vector<OfBand> ofBands;
    std::vector<int> closeTracks;            // [source]
    std::vector<std::uint8_t> belongsToNone; // [place among the tracks]
    std::vector<std::uint8_t> alike;         // [source][source] Always together.
    std::vector<std::size_t> ownPlaces;      // [source] Of the close track, among the tracks.
    std::vector<std::size_t> largestFirst;
    std::vector<std::vector<float>> variances; // [reading][bin] Of the response.

    static constexpr float tiny = std::numeric_limits<float>::min();

    /// The first kept window before which there is another.
    Eigen::Index firstWithBefore() const { return windows.kept().front() == 0 ? 1 : 0; }
    std::size_t readingAt(std::size_t source, std::size_t place) const { return source * tracks.size() + place; }
    int binsOf(std::size_t band) const { return windows.bands()[band].lastBin - windows.bands()[band].firstBin + 1; }

    /// work(item, worker). False: stopped. Throws std::bad_alloc.
    template <class Work>
    bool inEach(std::size_t items, Work&& work, double done) {
        workers.forEach(items, [&](std::size_t item, int worker) {
            if (!watch.stopped()) work(item, worker);
        });
        watch.tell(done);
        return !watch.stopped();
    }

    void prepare(std::size_t band);
    void choose(std::size_t band, std::vector<std::size_t> present);
    std::vector<int> leaders(std::size_t band) const;
    void readSpectra(std::size_t band);
    Eigen::ArrayXXd scatterOfUnmixing(const Eigen::ArrayXXf& powers) const;
    std::vector<double> usualLevels() const;
    void readMoments(std::size_t band);
    Eigen::MatrixXf momentsNowAndBefore(std::size_t band, std::size_t but) const;
    double explainedByOthers(std::size_t band, std::size_t source) const;
    double louderThanUsual(std::size_t band, std::size_t source, const std::vector<double>& usual) const;
    Eigen::ArrayXXf soundElsewhere() const;
    double farFrom(std::size_t band, std::size_t source, const Eigen::ArrayXf& sounding) const;
    void leaveOutAbsent(std::size_t band, const std::vector<double>& usual, const std::vector<double>& whole,
                        const Eigen::ArrayXXf& sounding);
    void holdLevels(const std::vector<double>& whole);
    void modelLeft(std::size_t band);
    void giveBackReverberation(std::size_t band);
    double readLeft(std::size_t band, std::size_t own, double part);
    void scaleSource(std::size_t band, std::size_t source, double factor);
    bool together(std::size_t source, std::size_t other) const;
    void findTogether();
    void tellShares();
    double ownShare(std::size_t source, std::size_t place) const;
    void tellLevels();
    void compareWithSolos();
    void tellPresence();
    bool tellArrivals();
};

void SpillReader::prepare(std::size_t band) {
    auto& of = ofBands[band];
    of.tracks.resize(tracks.size());
    const auto& range = windows.bands()[band];
    for (std::size_t m = 0; m < tracks.size(); ++m)
        for (int bin = range.firstBin; bin <= range.lastBin; ++bin)
            of.tracks[m] += spectra.power(bin, tracks[m]);
    std::vector<std::size_t> all(closeTracks.size());
    std::iota(all.begin(), all.end(), std::size_t(0));
    choose(band, std::move(all));
}

/// The sources that are looked for; nothing is known of them yet.
void SpillReader::choose(std::size_t band, std::vector<std::size_t> present) {
    auto& of = ofBands[band];
    of.present = std::move(present);
    of.others.clear();
    for (std::size_t m = 0; m < tracks.size(); ++m)
        if (std::none_of(of.present.begin(), of.present.end(), [&](std::size_t k) { return ownPlaces[k] == m; }))
            of.others.push_back(m);
    of.sources.assign(closeTracks.size(), 0.0);
    of.residue.assign(of.others.size(), 0.0);
    for (auto* each : {&of.coherent, &of.variance, &of.modelled, &of.late})
        each->assign(map.readings.size(), 0.0);
    const auto kept = std::ssize(windows.kept());
    of.demixed = Eigen::ArrayXXf::Zero(kept, std::ssize(closeTracks));
    of.left = Eigen::ArrayXXf::Zero(kept, std::ssize(of.others));
    of.moments.resize(0, 0);
    const auto first = static_cast<std::size_t>(windows.bands()[band].firstBin - windows.firstBin());
    const auto bins = static_cast<std::size_t>(std::max(0, binsOf(band)));
    for (std::size_t at = 0; at < map.readings.size(); ++at) {
        std::fill_n(map.responses[at].begin() + static_cast<std::ptrdiff_t>(first), bins, std::complex<float>());
        std::fill_n(variances[at].begin() + static_cast<std::ptrdiff_t>(first), bins, 0.0f);
    }
    for (auto& powers : map.sourcePowers)
        std::fill_n(powers.begin() + static_cast<std::ptrdiff_t>(first), bins, 0.0f);
    for (auto& weights : map.unmixing)
        std::fill_n(weights.begin() + static_cast<std::ptrdiff_t>(first * closeTracks.size()),
                    bins * closeTracks.size(), std::complex<float>());
}

/// Places among the present sources, those whose close tracks have most of their power in this third octave first.
std::vector<int> SpillReader::leaders(std::size_t band) const {
    std::vector<double> shares;
    for (const auto k : ofBands[band].present) {
        double all = 0.0;
        for (const auto& of : ofBands)
            all += of.tracks[ownPlaces[k]];
        shares.push_back(all > 0.0 ? ofBands[band].tracks[ownPlaces[k]] / all : 0.0);
    }
    std::vector<int> order(shares.size());
    std::iota(order.begin(), order.end(), 0);
    std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
        return shares[static_cast<std::size_t>(a)] > shares[static_cast<std::size_t>(b)];
    });
    return order;
}

/// [source][other source]: variance of how much of the other is left in the source, both of power 1 in the mean. The
/// estimate of two sources from windows in which they have powers a and b has the Fisher information
/// n (mean(b/a), 1; 1, mean(a/b)) of the two numbers that tell how much of each is in the other.
Eigen::ArrayXXd SpillReader::scatterOfUnmixing(const Eigen::ArrayXXf& powers) const {
    const auto count = powers.cols();
    Eigen::ArrayXXd relative = powers.cast<double>();
    for (Eigen::Index k = 0; k < count; ++k) {
        const double mean = relative.col(k).mean();
        relative.col(k) = mean > 0.0 ? (relative.col(k) / mean).max(static_cast<double>(leastPower)).eval()
                                     : Eigen::ArrayXd::Ones(relative.rows());
    }
    Eigen::ArrayXXd ratio(count, count), scatter = Eigen::ArrayXXd::Zero(count, count); // ratio: mean(column/row)
    for (Eigen::Index k = 0; k < count; ++k)
        for (Eigen::Index j = 0; j < count; ++j)
            ratio(j, k) = (relative.col(k) / relative.col(j)).mean();
    for (Eigen::Index k = 0; k < count; ++k)
        for (Eigen::Index j = 0; j < count; ++j)
            if (j != k)
                scatter(j, k) = beyondModel * ratio(k, j) / std::max(leastDifference, ratio(j, k) * ratio(k, j) - 1.0) /
                                static_cast<double>(relative.rows());
    return scatter;
}

void SpillReader::readSpectra(std::size_t band) {
    auto& of = ofBands[band];
    if (binsOf(band) <= 0 || of.present.empty()) return;
    std::vector<int> told; // the tracks from which the present sources are
    for (const auto k : of.present)
        told.push_back(closeTracks[k]);
    const auto demixed = demix(windows, static_cast<int>(band), told, leaders(band), watch);
    if (!demixed) return;
    const auto count = std::ssize(told), all = std::ssize(tracks), rest = std::ssize(of.others);
    for (Eigen::Index k = 0; k < count; ++k)
        of.demixed.col(static_cast<Eigen::Index>(of.present[static_cast<std::size_t>(k)])) = demixed->powers.col(k);
    const Eigen::ArrayXXd unmixingScatter = scatterOfUnmixing(demixed->powers);

    const auto kept = std::ssize(windows.kept());
    const double averages = spectra.effectiveAverages();
    const double free = std::max(1.0, averages - static_cast<double>(count));
    Eigen::MatrixXcd among(count, count), with(all, count);
    Eigen::MatrixXcf close(count, kept), left(rest, kept);
    for (Eigen::Index b = 0; b < std::ssize(demixed->unmixing); ++b) {
        const int bin = demixed->firstBin + static_cast<int>(b);
        const auto place = static_cast<std::size_t>(bin - windows.firstBin());
        for (Eigen::Index k = 0; k < count; ++k) {
            const int track = told[static_cast<std::size_t>(k)];
            for (Eigen::Index m = 0; m < all; ++m)
                with(m, k) = spectra.at(bin, tracks[static_cast<std::size_t>(m)], track);
            for (Eigen::Index j = 0; j < count; ++j)
                among(j, k) = with(static_cast<Eigen::Index>(ownPlaces[of.present[static_cast<std::size_t>(j)]]), k);
        }
        const Eigen::MatrixXcd& unmixing = demixed->unmixing[static_cast<std::size_t>(b)];
        Eigen::MatrixXcd own = unmixing * among * unmixing.adjoint();
        const Eigen::MatrixXcd cross = with * unmixing.adjoint();
        const Eigen::ArrayXd powers = own.diagonal().real().array().max(0.0);
        own.diagonal() +=
            (loading * powers + (leastLoading * powers.mean() + 1e-30)).matrix().cast<std::complex<double>>();
        const Eigen::MatrixXcd inverse = own.ldlt().solve(Eigen::MatrixXcd::Identity(count, count));
        const Eigen::MatrixXcd response = cross * inverse;

        Eigen::ArrayXd residue(all);
        for (Eigen::Index m = 0; m < all; ++m)
            residue(m) = std::max(0.0, spectra.power(bin, tracks[static_cast<std::size_t>(m)]) -
                                           response.row(m).conjugate().cwiseProduct(cross.row(m)).sum().real());
        for (Eigen::Index k = 0; k < count; ++k) {
            const auto source = of.present[static_cast<std::size_t>(k)];
            map.sourcePowers[source][place] = static_cast<float>(powers(k));
            for (Eigen::Index j = 0; j < count; ++j)
                map.unmixing[source][place * closeTracks.size() + of.present[static_cast<std::size_t>(j)]] =
                    std::complex<float>(unmixing(k, j));
            of.sources[source] += powers(k);
            for (Eigen::Index m = 0; m < all; ++m) {
                const auto reading = readingAt(source, static_cast<std::size_t>(m));
                if (static_cast<std::size_t>(m) == ownPlaces[source]) {
                    map.responses[reading][place] = 1.0f;
                    of.coherent[reading] += powers(k);
                    continue;
                }
                double variance = residue(m) * std::max(0.0, inverse(k, k).real()) / free;
                if (powers(k) > 0.0)
                    for (Eigen::Index j = 0; j < count; ++j)
                        if (j != k)
                            variance += std::norm(response(m, j)) * unmixingScatter(j, k) * powers(j) / powers(k);
                const double square = std::norm(response(m, k));
                map.responses[reading][place] = std::complex<float>(response(m, k));
                variances[reading][place] = static_cast<float>(variance);
                of.coherent[reading] += (square - variance) * powers(k);
                of.variance[reading] += (2.0 * square + variance) * variance * powers(k) * powers(k);
            }
        }

        // What is left of the other tracks, window by window.
        if (rest == 0) continue;
        for (Eigen::Index t = 0; t < kept; ++t) {
            for (Eigen::Index k = 0; k < count; ++k)
                close(k, t) =
                    kernels::keptValue(windows.spectrum(told[static_cast<std::size_t>(k)], static_cast<int>(t))[place]);
            for (Eigen::Index m = 0; m < rest; ++m)
                left(m, t) = kernels::keptValue(
                    windows.spectrum(tracks[of.others[static_cast<std::size_t>(m)]], static_cast<int>(t))[place]);
        }
        const Eigen::MatrixXcd through = response * unmixing;
        Eigen::MatrixXcf taken(rest, count);
        for (Eigen::Index m = 0; m < rest; ++m) {
            const auto at = static_cast<Eigen::Index>(of.others[static_cast<std::size_t>(m)]);
            taken.row(m) = through.row(at).cast<std::complex<float>>();
            of.residue[static_cast<std::size_t>(m)] += residue(at) * averages / free;
        }
        left.noalias() -= taken * close;
        of.left += left.cwiseAbs2().transpose().array();
    }
}

/// [reading] The level that a source has in a track in the middle of its sound, as a ratio of powers.
std::vector<double> SpillReader::usualLevels() const {
    std::vector<double> usual;
    std::vector<std::pair<double, double>> levels; // with their weights
    for (std::size_t at = 0; at < map.readings.size(); ++at) {
        const std::size_t source = at / tracks.size();
        levels.clear();
        double all = 0.0, below = 0.0;
        for (const auto& of : ofBands)
            if (of.sources[source] > 0.0) {
                levels.emplace_back(std::max(0.0, of.coherent[at]) / of.sources[source], of.sources[source]);
                all += of.sources[source];
            }
        std::sort(levels.begin(), levels.end());
        double& middle = usual.emplace_back(0.0);
        for (const auto& [level, weight] : levels) {
            middle = level;
            below += weight;
            if (below >= 0.5 * all) break;
        }
    }
    return usual;
}

/// The present sources' powers in every window.
void SpillReader::readMoments(std::size_t band) {
    auto& of = ofBands[band];
    const auto count = std::ssize(of.present);
    const std::int64_t all = windows.windows();
    of.moments = Eigen::ArrayXXf::Zero(all, std::ssize(closeTracks));
    if (count == 0) return;
    // How much of each source every close track holds is known now: non-negative powers, by multiplicative updates.
    Eigen::MatrixXf held(count, count), heard(all, count);
    for (Eigen::Index i = 0; i < count; ++i) {
        const auto place = ownPlaces[of.present[static_cast<std::size_t>(i)]];
        windows.copyPowers(tracks[place], static_cast<int>(band), {heard.col(i).data(), static_cast<std::size_t>(all)});
        for (Eigen::Index k = 0; k < count; ++k) {
            const auto source = of.present[static_cast<std::size_t>(k)];
            const double level = of.sources[source] > 0.0 ? of.all(readingAt(source, place)) / of.sources[source] : 0.0;
            held(i, k) = i == k ? 1.0f : static_cast<float>(level);
        }
    }
    const Eigen::ArrayXf heldInAll = held.colwise().sum().transpose();
    Eigen::MatrixXf moments = heard;
    for (int update = 0; update < unmixingUpdates; ++update) {
        const Eigen::MatrixXf ratio = (heard.array() / (moments * held.transpose()).array().max(tiny)).matrix();
        moments.array() *= (ratio * held).array().rowwise() / heldInAll.transpose();
    }
    for (Eigen::Index k = 0; k < count; ++k) {
        const auto source = static_cast<Eigen::Index>(of.present[static_cast<std::size_t>(k)]);
        of.moments.col(source) = moments.col(k).array();
        for (Eigen::Index t = 0; t < of.demixed.rows(); ++t) // of these the spectra told it
            of.moments(windows.kept()[static_cast<std::size_t>(t)], source) = of.demixed(t, source);
    }
}

/// The present sources' powers in the kept windows, then those of the windows before, then a constant, each of mean 1;
/// but for one source. The first window is left out if there is none before it.
Eigen::MatrixXf SpillReader::momentsNowAndBefore(std::size_t band, std::size_t but) const {
    const auto& of = ofBands[band];
    const auto rows = std::ssize(windows.kept()) - firstWithBefore();
    std::vector<std::size_t> taken;
    for (const auto k : of.present)
        if (k != but && of.sources[k] > 0.0) taken.push_back(k);
    const auto some = std::ssize(taken);
    Eigen::MatrixXf parts = Eigen::MatrixXf::Ones(rows, 2 * some + 1);
    for (Eigen::Index part = 0; part < 2 * some; ++part) {
        const auto k = static_cast<Eigen::Index>(taken[static_cast<std::size_t>(part % some)]);
        for (Eigen::Index row = 0; row < rows; ++row)
            parts(row, part) = of.moments(
                windows.kept()[static_cast<std::size_t>(row + firstWithBefore())] - (part < some ? 0 : 1), k);
        parts.col(part) = (parts.col(part) / std::max(parts.col(part).mean(), tiny)).cwiseMax(leastPower);
    }
    return parts;
}

/// How far from a sum of the others' powers a source's are: 0 to 1, against how far from a constant they are.
double SpillReader::explainedByOthers(std::size_t band, std::size_t source) const {
    const auto& of = ofBands[band];
    Eigen::ArrayXf own = of.demixed.col(static_cast<Eigen::Index>(source)).tail(of.demixed.rows() - firstWithBefore());
    own = (own / std::max(own.mean(), tiny)).max(leastPower);
    const double whole = divergence(own, Eigen::ArrayXf::Constant(own.size(), own.mean()));
    if (!(whole > 0.0)) return 1.0;
    return divergence(own, sumOfParts(momentsNowAndBefore(band, source), own, absenceUpdates).sum) / whole;
}

/// The median over the other tracks of how much louder than usual a source is there, dB.
double SpillReader::louderThanUsual(std::size_t band, std::size_t source, const std::vector<double>& usual) const {
    const auto& of = ofBands[band];
    std::vector<double> louder;
    for (std::size_t m = 0; m < tracks.size(); ++m) {
        const auto at = readingAt(source, m);
        if (m == ownPlaces[source] || !(usual[at] > 0.0)) continue;
        louder.push_back(std::max(0.0, of.coherent[at]) / of.sources[source] / usual[at]);
    }
    if (louder.empty()) return 0.0;
    const auto middle = louder.begin() + std::ssize(louder) / 2;
    std::nth_element(louder.begin(), middle, louder.end());
    return decibelsOfPower(std::max(1e-12, *middle));
}

/// [kept window][source] How the sources sound in the third octaves in which they make most of their close tracks, each
/// of mean 1; 0 of one that nowhere does.
Eigen::ArrayXXf SpillReader::soundElsewhere() const {
    Eigen::ArrayXXf sounding = Eigen::ArrayXXf::Zero(std::ssize(windows.kept()), std::ssize(closeTracks));
    for (const auto& of : ofBands)
        for (const auto k : of.present)
            if (of.sources[k] > 0.0 && of.sources[k] >= unlikePart * of.tracks[ownPlaces[k]])
                sounding.col(static_cast<Eigen::Index>(k)) += of.demixed.col(static_cast<Eigen::Index>(k));
    for (Eigen::Index k = 0; k < sounding.cols(); ++k)
        if (const float mean = sounding.col(k).mean(); mean > 0.0f) sounding.col(k) /= mean;
    return sounding;
}

/// How far a source's powers in a third octave are from how it sounds, of mean 1, against how far from a constant.
double SpillReader::farFrom(std::size_t band, std::size_t source, const Eigen::ArrayXf& sounding) const {
    Eigen::ArrayXf own = ofBands[band].demixed.col(static_cast<Eigen::Index>(source));
    own = (own / std::max(own.mean(), tiny)).max(leastPower);
    const double whole = divergence(own, Eigen::ArrayXf::Constant(own.size(), own.mean()));
    return sounding.mean() > 0.0f && whole > 0.0 ? divergence(own, sounding.max(leastPower)) / whole : 0.0;
}

/// A source that has no sound of its own in a third octave is none there: its close track is then a room track, and
/// what it hears of the others' reverberation would be told as its sound, and blamed on it in every track.
void SpillReader::leaveOutAbsent(std::size_t band, const std::vector<double>& usual, const std::vector<double>& whole,
                                 const Eigen::ArrayXXf& sounding) {
    if (binsOf(band) <= 0 || std::ssize(windows.kept()) - firstWithBefore() < 2) return;
    auto& of = ofBands[band];
    readMoments(band);
    const auto before = of.present.size();
    struct Asked {
        std::size_t source;
        bool veryUnlikeItself;
    };
    std::vector<Asked> asked;
    for (const auto k : of.present) {
        const double share = of.sources[k] / whole[k], part = of.sources[k] / of.tracks[ownPlaces[k]];
        if (!(share < unlikeShare && part < unlikePart)) continue;
        const double far = farFrom(band, k, sounding.col(static_cast<Eigen::Index>(k)));
        if (far > veryUnlike || (far > unlike && share < absentShare && part < absentPart))
            asked.push_back({k, far > veryUnlike});
    }
    while (!asked.empty() && !watch.stopped()) {
        std::size_t least = 0;
        double smallest = std::numeric_limits<double>::infinity();
        for (std::size_t n = 0; n < asked.size(); ++n) {
            const auto [source, veryUnlikeItself] = asked[n];
            const double own = explainedByOthers(band, source);
            const double enough = veryUnlikeItself                                        ? unlikeOwn
                                  : louderThanUsual(band, source, usual) > absentLouderDb ? absentIfLouder
                                                                                          : absent;
            if (own < enough && own < smallest) {
                smallest = own;
                least = n;
            }
        }
        if (!(smallest < 1.0)) break;
        std::erase(of.present, asked[least].source);
        asked.erase(asked.begin() + static_cast<std::ptrdiff_t>(least));
    }
    if (of.present.size() == before) return;
    choose(band, std::move(of.present));
    readSpectra(band);
    readMoments(band);
}

/// In a third octave in which a source has next to no power, a little of another's in its place would be told as a
/// level beyond all measure there.
void SpillReader::holdLevels(const std::vector<double>& whole) {
    const auto usual = usualLevels();
    for (std::size_t at = 0; at < map.readings.size(); ++at)
        for (auto& of : ofBands) {
            const std::size_t k = at / tracks.size();
            const double ordinary = usual[at] * of.sources[k];
            double& told = of.coherent[at];
            if (told <= ordinary) continue;
            if (!(ordinary > 0.0)) {
                told = 0.0;
                continue;
            }
            const bool doubted =
                of.sources[k] < absentShare * whole[k] && of.sources[k] < doubtedPart * of.tracks[ownPlaces[k]];
            const double believed = doubted ? believedDb - doubtedDb : believedDb;
            constexpr double until = falseDb - believedDb;
            const double louder = decibelsOfPower(told / ordinary), beyond = (louder - believed) / until;
            if (beyond > 0.0) told = ordinary * std::pow(10.0, std::max(0.0, believed * (1.0 - beyond)) / 10.0);
        }
}

/// What the power model gives of what is left of the tracks that have no source of their own here.
void SpillReader::modelLeft(std::size_t band) {
    auto& of = ofBands[band];
    if (of.moments.size() == 0) return;
    const auto rows = of.left.rows() - firstWithBefore();
    const Eigen::MatrixXf parts = momentsNowAndBefore(band, closeTracks.size());
    const auto some = (parts.cols() - 1) / 2;
    for (std::size_t m = 0; m < of.others.size(); ++m) {
        Eigen::ArrayXf wanted = of.left.col(static_cast<Eigen::Index>(m)).tail(rows);
        const float mean = wanted.mean();
        if (!(mean > 0.0f)) continue;
        wanted = (wanted / mean).max(leastPower);
        const auto [each, sum] = sumOfParts(parts, wanted, modelUpdates);
        const double scale = of.residue[m] / static_cast<double>(each.sum());
        Eigen::Index part = 0;
        for (const auto k : of.present) {
            if (!(of.sources[k] > 0.0)) continue;
            const auto at = readingAt(k, of.others[m]);
            of.late[at] = scale * static_cast<double>(each(some + part));
            of.modelled[at] = scale * static_cast<double>(each(part)) + of.late[at];
            ++part;
        }
    }
}

/// Reverberation that outlasts a window is told from none of the others' windows: what stands in a close track counts
/// there as its own source's. How much of it comes with a sound the tracks tell that are nobody's; how much of it is in
/// a close track, the moments in which its own source is still.
void SpillReader::giveBackReverberation(std::size_t band) {
    auto& of = ofBands[band];
    double coherent = 0.0, late = 0.0;
    for (const auto m : of.others) {
        if (!belongsToNone[m]) continue;
        for (const auto k : of.present) {
            coherent += std::max(0.0, of.coherent[readingAt(k, m)]) / std::max(1e-30, of.tracks[m]);
            late += of.late[readingAt(k, m)] / std::max(1e-30, of.tracks[m]);
        }
    }
    if (!(coherent > 0.0)) return;
    of.reverberationGivenBack = true;
    const double part = std::min(mostReverberation, late / coherent);
    std::vector<double> taken;
    for (const auto own : of.present)
        taken.push_back(readLeft(band, own, part));
    for (std::size_t n = 0; n < taken.size(); ++n)
        if (const auto own = of.present[n]; of.sources[own] > 0.0)
            scaleSource(band, own, std::max(leastOwn, 1.0 - taken[n] / of.sources[own]));
}

/// What of the others is left in a source as it was told apart, into the model of its close track; the sum of it.
double SpillReader::readLeft(std::size_t band, std::size_t own, double part) {
    auto& of = ofBands[band];
    std::vector<std::size_t> heard; // those of which there are moments
    for (const auto k : of.present)
        if (k != own && of.sources[k] > 0.0) heard.push_back(readingAt(k, ownPlaces[own]));
    const auto some = std::ssize(heard);
    if (some == 0 || !(of.sources[own] > 0.0)) return 0.0;
    Eigen::ArrayXf expected(2 * some), most(2 * some);
    for (Eigen::Index n = 0; n < some; ++n) {
        const double told = std::max(0.0, of.coherent[heard[static_cast<std::size_t>(n)]]) / of.sources[own];
        expected(n) = static_cast<float>(expectedNow * part * told + leastLeft);
        expected(n + some) = static_cast<float>(part * told + leastLeft);
        most(n) = static_cast<float>(mostNow * told + 10.0 * leastLeft);
        most(n + some) = static_cast<float>(mostBefore * told + 10.0 * leastLeft);
    }
    const Eigen::MatrixXf parts = momentsNowAndBefore(band, own).leftCols(2 * some);
    Eigen::ArrayXf wanted = of.demixed.col(static_cast<Eigen::Index>(own)).tail(parts.rows());
    const float mean = wanted.mean();
    if (!(mean > 0.0f)) return 0.0;
    wanted = (wanted / mean).max(leastPower);
    const Eigen::ArrayXf left = broughtByParts(parts, wanted, expected, most, leftUpdates);
    double sum = 0.0;
    for (Eigen::Index n = 0; n < some; ++n) {
        const double both = static_cast<double>(left(n) + left(n + some)) * of.sources[own];
        of.modelled[heard[static_cast<std::size_t>(n)]] = both;
        sum += both;
    }
    return sum;
}

/// The power of a source in its close track.
void SpillReader::scaleSource(std::size_t band, std::size_t source, double factor) {
    auto& of = ofBands[band];
    of.sources[source] *= factor;
    of.coherent[readingAt(source, ownPlaces[source])] *= factor;
    for (int bin = windows.bands()[band].firstBin; bin <= windows.bands()[band].lastBin; ++bin)
        map.sourcePowers[source][static_cast<std::size_t>(bin - map.firstBin)] *= static_cast<float>(factor);
}

/// Whether two sources sound in one proportion throughout, third octave by third octave as both have power there: as
/// they were told apart, and in their close tracks too, for what was told apart wrongly differs by chance.
bool SpillReader::together(std::size_t source, std::size_t other) const {
    double all = 0.0, allOther = 0.0;
    for (const auto& of : ofBands) {
        all += of.sources[source];
        allOther += of.sources[other];
    }
    if (!(all > 0.0) || !(allOther > 0.0)) return false;
    const auto scatter = [](const Eigen::ArrayXf& a, const Eigen::ArrayXf& b) { // variance of the ratio, dB^2
        const auto level = [](const Eigen::ArrayXf& of) -> Eigen::ArrayXf {
            return 10.0f * of.max(std::max(leastPower * of.mean(), tiny)).log10();
        };
        const Eigen::ArrayXf ratio = level(a) - level(b);
        return static_cast<double>((ratio - ratio.mean()).square().mean());
    };
    double weights = 0.0, told = 0.0, heard = 0.0;
    Eigen::ArrayXf own(windows.windows()), its(windows.windows());
    for (std::size_t band = 0; band < bands; ++band) {
        const auto& of = ofBands[band];
        const double weight = std::sqrt(of.sources[source] / all * of.sources[other] / allOther);
        if (!(weight > 0.0)) continue;
        weights += weight;
        told += weight * scatter(of.demixed.col(static_cast<Eigen::Index>(source)),
                                 of.demixed.col(static_cast<Eigen::Index>(other)));
        windows.copyPowers(closeTracks[source], static_cast<int>(band),
                           {own.data(), static_cast<std::size_t>(own.size())});
        windows.copyPowers(closeTracks[other], static_cast<int>(band),
                           {its.data(), static_cast<std::size_t>(its.size())});
        heard += weight * scatter(own, its);
    }
    if (!(weights > leastOverlap)) return false;
    // Two that sound exactly alike stay as they were; of others one or both are told in the other's place.
    double there = 0.0, back = 0.0;
    for (const auto& of : ofBands) {
        there += of.all(readingAt(source, ownPlaces[other]));
        back += of.all(readingAt(other, ownPlaces[source]));
    }
    return told < alikeDb * alikeDb * weights ||
           (told < togetherToldDb * togetherToldDb * weights && heard < togetherHeardDb * togetherHeardDb * weights &&
            there / all * back / allOther > togetherSpill);
}

/// Of two sources that are always together, what was told apart wrongly stands in the other's close track, and is more
/// than spill can be: it counts as that track's own.
void SpillReader::findTogether() {
    alike.assign(closeTracks.size() * closeTracks.size(), 0);
    for (std::size_t k = 0; k < closeTracks.size(); ++k)
        for (std::size_t j = 0; j < k; ++j)
            alike[k * closeTracks.size() + j] = alike[j * closeTracks.size() + k] = together(k, j) ? 1 : 0;
    for (std::size_t own = 0; own < closeTracks.size(); ++own)
        for (std::size_t band = 0; band < bands; ++band) {
            auto& of = ofBands[band];
            double taken = 0.0;
            for (std::size_t k = 0; k < closeTracks.size(); ++k) {
                const auto at = readingAt(k, ownPlaces[own]);
                if (!alike[own * closeTracks.size() + k]) continue;
                taken += of.all(at);
                of.coherent[at] = of.modelled[at] = 0.0;
            }
            if (!(taken > 0.0) || !(of.sources[own] > 0.0)) continue;
            scaleSource(band, own, 1.0 + taken / of.sources[own]);
        }
}

/// Of a track that has a source of its own, what that source is, once the parts of all sources are made to add up to
/// the track. What was told apart is not quite without correlation, so that its powers alone do not: what they miss, or
/// are too much, belongs to each source by its part; but where no track told how much reverberation there is, it is
/// rather the others', which reverberate more than the own source does. Where its own source was left out, all of a
/// close track is others'.
double SpillReader::ownShare(std::size_t source, std::size_t place) const {
    double track = 0.0, own = 0.0;
    for (const auto& of : ofBands) {
        track += of.tracks[place];
        double others = 0.0;
        for (std::size_t k = 0; k < closeTracks.size(); ++k)
            if (k != source) others += of.all(readingAt(k, place));
        if (const double part = of.all(readingAt(source, place)); part > 0.0)
            own += of.reverberationGivenBack ? of.tracks[place] * part / (part + others)
                                             : std::min(part, of.tracks[place]);
        else if (!(others > 0.0))
            own += of.tracks[place];
    }
    return track > 0.0 ? own / track : 0.0;
}

void SpillReader::tellShares() {
    map.shareByThirdOctave.assign(map.readings.size(), std::vector<double>(bands, 0.0));
    map.powerByThirdOctave.assign(closeTracks.size(), std::vector<double>(bands, 0.0));
    // One-sided, unscaled spectra of a Hann window, whose mean square is 3/8.
    const double scale = 16.0 / 3.0 / std::pow(static_cast<double>(spectra.windowLength()), 2);
    for (std::size_t k = 0; k < closeTracks.size(); ++k)
        for (std::size_t band = 0; band < bands; ++band)
            map.powerByThirdOctave[k][band] = scale * ofBands[band].sources[k];
    for (std::size_t m = 0; m < tracks.size(); ++m) {
        double track = 0.0, explained = 0.0;
        for (const auto& of : ofBands)
            track += of.tracks[m];
        auto& spill = map.spillShare[static_cast<std::size_t>(tracks[m])];
        spill = 1.0;
        for (std::size_t k = 0; k < closeTracks.size(); ++k) {
            const auto reading = readingAt(k, m);
            double sum = 0.0;
            for (std::size_t band = 0; band < bands; ++band) {
                const auto& of = ofBands[band];
                sum += of.all(reading);
                if (of.tracks[m] > 0.0)
                    map.shareByThirdOctave[reading][band] = std::clamp(of.all(reading) / of.tracks[m], 0.0, 1.0);
            }
            const double share = track > 0.0 ? std::clamp(sum / track, 0.0, 1.0) : 0.0;
            map.readings[reading].shareOfTrack = share;
            explained += share;
            const auto& own = map.plan.sources[k].closeTracks;
            if (std::find(own.begin(), own.end(), tracks[m]) != own.end()) spill = 1.0 - ownShare(k, m);
        }
        map.unexplained[static_cast<std::size_t>(tracks[m])] = std::clamp(1.0 - explained, 0.0, 1.0);
    }
}

void SpillReader::tellLevels() {
    const auto lowMid = [&](std::size_t band) {
        const double exact = std::pow(10.0, nominalThirdOctaves[band].k / 10.0);
        return exact > lowMidBand.low.value && exact < lowMidBand.high.value;
    };
    for (std::size_t k = 0; k < closeTracks.size(); ++k)
        for (std::size_t m = 0; m < tracks.size(); ++m) {
            const auto at = readingAt(k, m);
            auto& reading = map.readings[at];
            reading.levelByThirdOctave.resize(bands);
            double source = 0.0, lowSource = 0.0, power = 0.0, lowPower = 0.0, variance = 0.0;
            for (std::size_t band = 0; band < bands; ++band) {
                const auto& of = ofBands[band];
                source += of.sources[k];
                power += of.all(at);
                variance += of.variance[at] + std::pow(scatterOfModel * of.modelled[at], 2);
                if (!lowMid(band)) continue;
                lowSource += of.sources[k];
                lowPower += of.all(at);
            }
            const bool own = tracks[m] == closeTracks[k];
            const auto other = std::find(closeTracks.begin(), closeTracks.end(), tracks[m]);
            if (!own && other != closeTracks.end() &&
                alike[k * closeTracks.size() + static_cast<std::size_t>(other - closeTracks.begin())])
                reading.whyNoLevel = Untold::alwaysTogether;
            else if (!(source > 0.0) || !(power > 0.0) ||
                     (!own && (reading.shareOfTrack < leastShare || std::sqrt(variance) > mostScatter * power)))
                reading.whyNoLevel = Untold::tooFaint;
            if (reading.whyNoLevel != Untold::told) continue;
            reading.level = Decibels(decibelsOfPower(power / source));
            if (lowSource > 0.0 && lowPower > 0.0)
                reading.levelLowMid = Decibels(decibelsOfPower(lowPower / lowSource));
            for (std::size_t band = 0; band < bands; ++band) {
                const auto& of = ofBands[band];
                const double here = of.all(at);
                if (of.sources[k] > 0.0 && here > 0.0 &&
                    (own || (map.shareByThirdOctave[at][band] >= leastShareOfThird &&
                             std::sqrt(of.variance[at]) <= mostScatter * here)))
                    reading.levelByThirdOctave[band] = Decibels(decibelsOfPower(here / of.sources[k]));
            }
        }
}

/// A second way to a level, that knows nothing of phases: the track's power in windows in which the source plays all
/// but alone. Where the two contradict each other beyond what either can be off, neither is told.
void SpillReader::compareWithSolos() {
    const std::int64_t all = windows.windows();
    const auto count = std::ssize(closeTracks);
    Eigen::ArrayXXd sounding = Eigen::ArrayXXd::Zero(all, count); // [window][source] of its mean
    for (const auto& of : ofBands)
        if (of.moments.size() > 0) sounding += of.moments.cast<double>();
    for (Eigen::Index k = 0; k < count; ++k)
        if (const double mean = sounding.col(k).mean(); mean > 0.0) sounding.col(k) /= mean;
    const Eigen::ArrayXd soundingAll = sounding.rowwise().sum();
    std::vector<float> powers(static_cast<std::size_t>(all));
    std::vector<double> differences; // from window to window, dB
    for (std::size_t m = 0; m < tracks.size(); ++m) {
        Eigen::ArrayXd track = Eigen::ArrayXd::Zero(all);
        Eigen::ArrayXXd parts = Eigen::ArrayXXd::Zero(all, count); // of each source in the track
        for (std::size_t band = 0; band < bands; ++band) {
            const auto& of = ofBands[band];
            if (of.moments.size() == 0) continue;
            windows.copyPowers(tracks[m], static_cast<int>(band), powers);
            track += Eigen::Map<const Eigen::ArrayXf>(powers.data(), all).cast<double>();
            for (const auto k : of.present)
                if (of.sources[k] > 0.0)
                    parts.col(static_cast<Eigen::Index>(k)) +=
                        of.moments.col(static_cast<Eigen::Index>(k)).cast<double>() *
                        (of.all(readingAt(k, m)) / of.sources[k]);
        }
        const Eigen::ArrayXd told = parts.rowwise().sum();
        for (Eigen::Index k = 0; k < count; ++k) {
            auto& reading = map.readings[readingAt(static_cast<std::size_t>(k), m)];
            if (!reading.level || m == ownPlaces[static_cast<std::size_t>(k)]) continue;
            double heard = 0.0, others = 0.0;
            differences.clear();
            for (Eigen::Index t = 0; t < all; ++t) {
                if (sounding(t, k) < soloLoud || sounding(t, k) < soloAlone * soundingAll(t)) continue;
                const double rest = told(t) - parts(t, k), left = track(t) - rest;
                heard += track(t);
                others += rest;
                constexpr double deepest = 0.01; // of the track: the others may be told as more than all of it
                if (parts(t, k) > 0.0 && track(t) > 0.0)
                    differences.push_back(decibelsOfPower(std::max(left, deepest * track(t)) / parts(t, k)));
            }
            if (differences.size() < soloWindows || others > soloOthers * heard) continue;
            std::sort(differences.begin(), differences.end());
            const double low = differences[differences.size() / 4], high = differences[differences.size() * 3 / 4];
            if (low < contradictionDb && high > -contradictionDb) continue;
            reading.level = reading.levelLowMid = std::nullopt;
            reading.levelByThirdOctave.assign(bands, std::nullopt);
            reading.whyNoLevel = Untold::waysDisagree;
        }
    }
}

void SpillReader::tellPresence() {
    const std::int64_t all = windows.windows();
    const double hop = spectra.windowLength() / 2.0;
    for (std::int64_t t = 0; t < all; ++t)
        map.times.emplace_back((static_cast<double>(spectra.from()) + static_cast<double>(t + 1) * hop) /
                               spectra.sampleRate());
    for (std::size_t k = 0; k < closeTracks.size(); ++k) {
        Eigen::ArrayXd source = Eigen::ArrayXd::Zero(all), track = source;
        std::vector<float> powers(static_cast<std::size_t>(all));
        for (std::size_t band = 0; band < bands; ++band) {
            if (ofBands[band].moments.size() == 0) continue;
            source += ofBands[band].moments.col(static_cast<Eigen::Index>(k)).cast<double>();
            windows.copyPowers(closeTracks[k], static_cast<int>(band), powers);
            track += Eigen::Map<const Eigen::ArrayXf>(powers.data(), all).cast<double>();
        }
        const double mean = source.mean();
        auto& presence = map.presence.emplace_back();
        auto& share = map.shareOfClose.emplace_back();
        for (Eigen::Index t = 0; t < all; ++t) {
            constexpr double least = 1e-10; // -100 dB
            presence.push_back(
                static_cast<float>(decibelsOfPower(mean > 0.0 ? std::max(least, source(t) / mean) : least)));
            share.push_back(track(t) > 0.0 ? static_cast<float>(std::min(1.0, source(t) / track(t))) : 0.0f);
        }
    }
}

/// Arrival, polarity and coherence; the responses' scatter is taken out of them.
bool SpillReader::tellArrivals() {
    const auto bins = static_cast<std::size_t>(windows.binCount());
    if (bins == 0) return true;
    const LeadingPeakFinder finder(spectra.binWidth(), map.firstBin, windows.binCount(), options.largestArrival);
    std::vector<LeadingPeakFinder::Scratch> scratch(static_cast<std::size_t>(workers.count()));
    const auto readOne = [&](std::size_t at, int worker) {
        auto& reading = map.readings[at];
        const auto k = static_cast<std::size_t>(reading.source);
        auto& response = map.responses[at];
        std::vector<std::complex<float>> sure(bins);
        for (std::size_t bin = 0; bin < bins; ++bin) {
            const float square = std::norm(response[bin]);
            if (!(square > 0.0f)) continue;
            const float part = std::max(0.0f, square - variances[at][bin]) / square;
            sure[bin] = response[bin] * (part / std::sqrt(square));
            response[bin] *= std::sqrt(part);
        }
        double sum = 0.0, weights = 0.0;
        for (std::size_t band = 0; band < bands; ++band) {
            const auto& of = ofBands[band];
            const double beside = of.sources[k] > 0.0 ? of.modelled[at] / of.sources[k] : 0.0;
            for (int bin = windows.bands()[band].firstBin; bin <= windows.bands()[band].lastBin; ++bin) {
                const double hertz = bin * spectra.binWidth();
                if (hertz < options.band.low.value || hertz > options.band.high.value) continue;
                weights += 1.0 / hertz;
                const double gain =
                    static_cast<double>(std::norm(response[static_cast<std::size_t>(bin - map.firstBin)]));
                if (gain > 0.0) sum += gain / (gain + beside) / hertz;
            }
        }
        reading.coherence = weights > 0.0 ? sum / weights : 0.0;
        if (reading.track == closeTracks[k]) {
            reading.arrival = Arrival{Seconds(0.0), Seconds(0.0), 1.0, std::nullopt};
            reading.polarity = PolarityReading{Polarity::same, 1.0};
            return;
        }
        if (const auto peak = finder.find(sure, reading.shareOfTrack >= plainShare ? plainRivals : faintRivals,
                                          scratch[static_cast<std::size_t>(worker)])) {
            reading.arrival = peak->arrival;
            reading.polarity = peak->polarity;
        } else {
            reading.whyNoArrival = reading.shareOfTrack < leastShare ? Untold::tooFaint : Untold::noLeadingPeak;
        }
    };
    return inEach(map.readings.size(), readOne, 1.0);
}

} // namespace

const SpillReading* SpillMap::reading(int source, int track) const {
    const auto at = std::find_if(readings.begin(), readings.end(), [&](const SpillReading& reading) {
        return reading.source == source && reading.track == track;
    });
    return at != readings.end() ? &*at : nullptr;
}

std::optional<double> SpillMap::toldSpillShare(int track) const {
    if (track < 0 || track >= std::ssize(spillShare)) return std::nullopt;
    const auto place = static_cast<std::size_t>(track);
    if (!std::isfinite(spillShare[place])) return std::nullopt;
    for (const auto& source : plan.sources) {
        const auto& close = source.closeTracks;
        if (std::find(close.begin(), close.end(), track) == close.end()) continue;
        for (const auto& one : readings)
            if (one.track == close.front() && one.whyNoLevel == Untold::alwaysTogether) return std::nullopt;
    }
    return spillShare[place];
}

Result<SpillMap> readSpillMap(const CrossSpectra& spectra, const SourcePlan& plan, std::span<const int> usableTracks,
                              const ReadingOptions& options, Workers& workers, const Watch& watch) {
    try {
        SpillMap map;
        for (const auto& source : plan.sources) {
            Source usable;
            for (const int track : source.closeTracks)
                if (std::find(usableTracks.begin(), usableTracks.end(), track) != usableTracks.end())
                    usable.closeTracks.push_back(track);
            if (!usable.closeTracks.empty()) map.plan.sources.push_back(std::move(usable));
        }
        for (const auto& third : nominalThirdOctaves)
            map.centres.emplace_back(third.hertz);
        const auto tracks = static_cast<std::size_t>(spectra.trackCount());
        map.spillShare.assign(tracks, std::numeric_limits<double>::quiet_NaN());
        map.unexplained.assign(tracks, 0.0);
        const auto* windows = spectra.windowSpectra();
        if (!windows || windows->kept().empty() || map.plan.sources.empty()) return map;
        if (!SpillReader(spectra, usableTracks, options, workers, watch, map).read())
            return Fault{"spill map", "stopped", "", Fault::Kind::cancelled};
        return map;
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it to tell which instrument is heard where", "close other programs"};
    }
}

SourceSpectra::SourceSpectra(const CrossSpectra& whole, const SpillMap& of, int source)
    : map(of), responses(static_cast<std::size_t>(whole.trackCount())),
      beside(static_cast<std::size_t>(whole.trackCount())) {
    if (source >= 0 && source < std::ssize(map.sourcePowers))
        powers = map.sourcePowers[static_cast<std::size_t>(source)];
    const auto bands = thirdOctaveBins(sourceBand, whole.binWidth(), whole.binCount());
    for (std::size_t at = 0; at < map.readings.size(); ++at) {
        const auto& reading = map.readings[at];
        if (reading.source != source || reading.whyNoLevel == Untold::tooFaint) continue;
        const auto track = static_cast<std::size_t>(reading.track);
        heard.push_back(reading.track);
        responses[track] = &map.responses[at];
        beside[track].resize(powers.size());
        for (std::size_t band = 0; band < bands.size(); ++band) {
            // What the share tells of beyond the coherent part has the colour that the source has.
            double all = 0.0, coherent = 0.0, own = 0.0;
            for (int bin = bands[band].firstBin; bin <= bands[band].lastBin; ++bin) {
                const auto place = static_cast<std::size_t>(bin - map.firstBin);
                all += map.shareByThirdOctave[at][band] * whole.power(bin, reading.track);
                coherent += static_cast<double>(std::norm(map.responses[at][place]) * powers[place]);
                own += static_cast<double>(powers[place]);
            }
            if (!(own > 0.0)) continue;
            const auto factor = static_cast<float>(std::max(0.0, all - coherent) / own);
            for (int bin = bands[band].firstBin; bin <= bands[band].lastBin; ++bin) {
                const auto place = static_cast<std::size_t>(bin - map.firstBin);
                beside[track][place] = factor * powers[place];
            }
        }
    }
    std::sort(heard.begin(), heard.end());
}

int SourceSpectra::binCount() const {
    return static_cast<int>(powers.size());
}

std::complex<float> SourceSpectra::at(int bin, int i, int j) const {
    const auto* first = responses[static_cast<std::size_t>(i)];
    const auto* second = responses[static_cast<std::size_t>(j)];
    if (!first || !second || bin < map.firstBin || bin >= map.firstBin + binCount()) return {};
    const auto place = static_cast<std::size_t>(bin - map.firstBin);
    const auto coherent = (*first)[place] * std::conj((*second)[place]) * powers[place];
    return i == j ? coherent + beside[static_cast<std::size_t>(i)][place] : coherent;
}

CrossSpectra spectraOfSource(const CrossSpectra& spectra, const SpillMap& map, int source) {
    const SourceSpectra alone(spectra, map, source);
    const auto tracks = static_cast<std::size_t>(spectra.trackCount());
    return spectra.withSpectra(map.firstBin, alone.binCount(), [&](int bin, std::span<std::complex<float>> pairs) {
        for (const int i : alone.tracks())
            for (const int j : alone.tracks()) {
                if (i > j) continue;
                const auto track = static_cast<std::size_t>(i);
                const std::size_t row = track * tracks - track * (track + 1) / 2; // of pairs (i, i) ...
                pairs[row + static_cast<std::size_t>(j)] = alone.at(bin, i, j);
            }
    });
}

std::vector<Moments> leadingMoments(const SpillMap& map, int source, int most) {
    struct Run {
        std::size_t first = 0, count = 0;
        double energy = 0.0;
    };
    std::vector<Moments> moments;
    if (source < 0 || source >= std::ssize(map.presence) || map.times.size() < 2) return moments;
    const auto& presence = map.presence[static_cast<std::size_t>(source)];
    const auto& share = map.shareOfClose[static_cast<std::size_t>(source)];
    const double step = map.times[1].value - map.times[0].value;
    const auto energyAt = [&](std::size_t t) {
        return std::pow(10.0, 0.1 * static_cast<double>(presence[t])) * static_cast<double>(share[t]);
    };
    std::vector<Run> runs;
    bool leads = false;
    for (std::size_t t = 0; t < map.times.size(); ++t) {
        const bool led = leads;
        leads = static_cast<double>(share[t]) >= leadingShare && static_cast<double>(presence[t]) >= loudDb;
        if (!leads) continue;
        if (!led || (static_cast<double>(runs.back().count) + 1.0) * step > longestMoment) runs.push_back({t, 0, 0.0});
        ++runs.back().count;
        runs.back().energy += energyAt(t);
    }
    std::stable_sort(runs.begin(), runs.end(), [](const Run& a, const Run& b) { return a.energy > b.energy; });
    std::vector<bool> taken(map.times.size(), false);
    for (const Run& run : runs) {
        if (std::ssize(moments) >= most) break;
        std::size_t first = run.first, last = run.first + run.count - 1;
        while (static_cast<double>(last - first + 1) * step < shortestMoment) {
            const bool left = first > 0, right = last + 1 < map.times.size();
            if (!left && !right) break;
            if (left && (!right || energyAt(first - 1) > energyAt(last + 1)))
                --first;
            else
                ++last;
        }
        const auto from = taken.begin() + static_cast<std::ptrdiff_t>(first);
        const auto to = taken.begin() + static_cast<std::ptrdiff_t>(last) + 1;
        if (std::find(from, to, true) != to) continue; // heard already
        std::fill(from, to, true);
        moments.push_back({Seconds(map.times[first].value - 0.5 * step), Seconds(map.times[last].value + 0.5 * step)});
    }
    return moments;
}

} // namespace spillwright
