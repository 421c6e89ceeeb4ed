#include "Core/Scene/PracticeAcoustics.h"

#include "Core/Measure/SmoothedCurve.h"
#include "Core/Measure/WindowOverlap.h"
#include "Core/Pan.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Core/Signal/TrackChain.h"

#include <algorithm>
#include <bit>
#include <cassert>
#include <cmath>
#include <functional>
#include <numbers>
#include <utility>

namespace spillwright {

namespace {

using Samples = std::vector<float>;
using Bins = AlignedVector<std::complex<float>>;

constexpr int curvePoints = 480;  ///< Of a smoothed curve.
constexpr int exactColumns = 960; ///< Of 1/96 octave.
constexpr std::size_t mostNotches = 200;

void add(Samples& sum, const Samples& part, double factor) {
    for (std::size_t n = 0; n < sum.size(); ++n)
        sum[n] += static_cast<float>(factor) * part[n];
}

Bins spectrumOf(const Samples& response, const Fourier& transform) {
    AlignedVector<float> signal(static_cast<std::size_t>(transform.length()));
    std::copy(response.begin(), response.end(), signal.begin());
    Bins bins(static_cast<std::size_t>(transform.binCount()));
    transform.forward(signal.data(), bins.data());
    return bins;
}

std::vector<double> powersOf(const Bins& bins) {
    std::vector<double> powers;
    for (const auto& bin : bins)
        powers.push_back(static_cast<double>(std::norm(bin)));
    return powers;
}

double inDecibels(double power, double reference) {
    return decibelsOfPower(std::max(power / reference, deepestRatio * deepestRatio));
}

/// The unsmoothed notches. A bin's power is 2 + 2 cos of its phase, or the like: a parabola over three bins' powers
/// finds the bottom between them, where one over decibels would not.
std::vector<Notch> notchesOf(const std::vector<double>& powers, const std::vector<double>& reference, double binHz) {
    FrequencyCurve curve;
    const auto from = static_cast<std::size_t>(std::ceil(lowestHertz / binHz));
    const auto to = std::min(powers.size() - 1, static_cast<std::size_t>(highestHertz / binHz));
    for (std::size_t bin = from; bin <= to; ++bin) {
        curve.frequencies.push_back(static_cast<double>(bin) * binHz);
        curve.values.push_back(inDecibels(powers[bin], reference[bin]));
    }
    auto found = notches(curve, {Hertz(lowestHertz), Hertz(highestHertz)}, static_cast<int>(curve.values.size()));
    for (auto& notch : found) {
        const auto bin = std::clamp<std::size_t>(static_cast<std::size_t>(std::lround(notch.frequency.value / binHz)),
                                                 from + 1, to - 1);
        const auto at = [&](std::size_t place) { return powers[place] / reference[place]; };
        const double low = at(bin - 1), mid = at(bin), high = at(bin + 1);
        const double bend = low - 2.0 * mid + high;
        const double beside = bend > 0.0 ? std::clamp(0.5 * (low - high) / bend, -1.0, 1.0) : 0.0;
        notch.frequency = Hertz((static_cast<double>(bin) + beside) * binHz);
        notch.levelDb = inDecibels(std::max(0.0, mid - 0.25 * (low - high) * beside), 1.0);
    }
    std::sort(found.begin(), found.end(), [](const Notch& a, const Notch& b) { return a.frequency < b.frequency; });
    return found;
}

/// The lowest and the highest of each column, the notches' own bottoms among them, in the order of frequency. A column
/// that no bin lies in is read between its neighbours.
FrequencyCurve exactCurve(const std::vector<double>& powers, const std::vector<double>& reference, double binHz,
                          const std::vector<Notch>& bottoms) {
    FrequencyCurve curve;
    const double high = std::min(highestHertz, static_cast<double>(powers.size() - 1) * binHz);
    const double ratio = std::pow(high / lowestHertz, 1.0 / (exactColumns - 1));
    auto bottom = bottoms.begin();
    for (int column = 0; column < exactColumns; ++column) {
        const double centre = lowestHertz * std::pow(ratio, column);
        const double from = centre / std::sqrt(ratio), to = centre * std::sqrt(ratio);
        using Place = std::pair<double, double>; // ratio of powers, frequency
        std::optional<Place> lowest, highest;
        const auto take = [&](double hertz, double ratioThere) {
            if (!lowest || ratioThere < lowest->first) lowest = Place(ratioThere, hertz);
            if (!highest || ratioThere > highest->first) highest = Place(ratioThere, hertz);
        };
        const auto end = std::min(powers.size(), static_cast<std::size_t>(std::ceil(to / binHz)));
        for (auto bin = static_cast<std::size_t>(std::ceil(from / binHz)); bin < end; ++bin)
            take(static_cast<double>(bin) * binHz, powers[bin] / reference[bin]);
        if (!lowest) {
            const auto below = std::min(powers.size() - 2, static_cast<std::size_t>(centre / binHz));
            const double beyond = centre / binHz - static_cast<double>(below);
            take(centre, ((1.0 - beyond) * powers[below] + beyond * powers[below + 1]) /
                             ((1.0 - beyond) * reference[below] + beyond * reference[below + 1]));
        }
        for (; bottom != bottoms.end() && bottom->frequency.value < to; ++bottom)
            take(bottom->frequency.value, std::pow(10.0, bottom->levelDb / 10.0));
        if (lowest->second > highest->second) std::swap(lowest, highest);
        for (const auto& [ratioThere, hertz] : {*lowest, *highest}) {
            if (!curve.frequencies.empty() && hertz <= curve.frequencies.back()) continue; // the two are one
            curve.frequencies.push_back(hertz);
            curve.values.push_back(inDecibels(ratioThere, 1.0));
        }
    }
    return curve;
}

/// Reflections go on and on between two surfaces that face each other.
bool rings(const PracticeRoom& room) {
    for (std::size_t surface = 0; surface < surfaces; surface += 2)
        if (room.absorption[surface] < 1.0 && room.absorption[surface + 1] < 1.0) return true;
    return false;
}

PracticePath pathOf(const Scene& scene, int microphone, const TrackAdjustment& adjustment) {
    const DirectPath direct = *directPath(scene, 0, microphone);
    PracticePath path{direct.distance, direct.arrival + adjustment.nudge, direct.level + adjustment.gain,
                      direct.polarity};
    if (path.polarity && adjustment.flip)
        path.polarity = *path.polarity == Polarity::same ? Polarity::inverted : Polarity::same;
    return path;
}

PracticePair pairOf(const PracticeRoom& room, const std::vector<PracticePath>& paths, int first, int second) {
    const auto a = static_cast<std::size_t>(first), b = static_cast<std::size_t>(second);
    PracticePair pair;
    pair.first = first;
    pair.second = second;
    pair.arrival = paths[b].arrival - paths[a].arrival;
    pair.level = paths[b].level - paths[a].level;
    pair.spacing = Metres(distanceBetween(room.microphones[a].position, room.microphones[b].position));
    const auto [near, far] = std::minmax(paths[a].distance, paths[b].distance);
    pair.distanceRatio = far / near;
    pair.spacingRatio = pair.spacing / near;
    const double softer = amplitudeOfDecibels(-std::abs(pair.level.value));
    pair.peak = Decibels(decibelsOfAmplitude(1.0 + softer));
    pair.null = Decibels(decibelsOfAmplitude(std::max(1.0 - softer, deepestRatio)));
    constexpr double atOnce = 1e-9; // seconds: rounding
    const double apart = std::abs(pair.arrival.value);
    if (apart > atOnce && paths[a].polarity && paths[b].polarity)
        pair.firstNull = Hertz((paths[a].polarity == paths[b].polarity ? 0.5 : 1.0) / apart);
    return pair;
}

} // namespace

struct PracticeAcoustics::Contents {
    /// What a response depends on, and the response.
    struct Kept {
        ShoeboxRoom room;
        Point source, microphone;
        FirstOrderPattern sourcePattern, microphonePattern;
        Detail detail = Detail::resting;
        Samples raw;
        Samples atRest; ///< The last one that was reckoned at rest.

        bool sameRoom(const ShoeboxRoom& box) const {
            return room.size == box.size && room.absorption == box.absorption && room.temperature == box.temperature;
        }
        bool stillTrue(const Scene& scene, std::size_t index, Detail wanted) const {
            const auto& there = scene.microphones[index];
            return !raw.empty() && detail >= wanted && microphone == there.position &&
                   microphonePattern == there.pattern && source == scene.sources[0].position &&
                   sourcePattern == scene.sources[0].pattern && sameRoom(scene.rooms[0]) &&
                   (detail != wanted || room.decay == scene.rooms[0].decay);
        }
    };

    double rate;
    std::vector<Kept> kept;
    PracticeResponses responses;

    /// The early part is new, what it fades into is as it was when all last stood still.
    static Samples joined(Samples early, const Samples& late, const ShoeboxRoom& box, double rate) {
        if (late.size() <= early.size()) return early;
        const auto ends = static_cast<std::size_t>(std::ceil(box.decay.value * rate)) + ImpulseResponse::lead;
        const auto begins = ImpulseResponse::lead + (ends - ImpulseResponse::lead) * 4 / 5;
        const std::size_t before = early.size();
        early.resize(late.size());
        for (std::size_t n = begins; n < late.size(); ++n) {
            // The share that the fade of impulseResponse() has taken, in power.
            const double into = std::min(1.0, static_cast<double>(n - begins) /
                                                  static_cast<double>(std::max<std::size_t>(1, ends - begins)));
            const double share = std::sin(0.5 * std::numbers::pi * into);
            early[n] = (n < before ? early[n] : 0.0f) + static_cast<float>(share * share) * late[n];
        }
        return early;
    }

    void renew(const PracticeRoom& room, Detail detail) {
        const Scene scene = sceneOf(room, rate, detail);
        kept.resize(room.microphones.size());
        for (std::size_t index = 0; index < kept.size(); ++index) {
            Kept& one = kept[index];
            if (one.stillTrue(scene, index, detail)) continue;
            if (!one.sameRoom(scene.rooms[0])) one.atRest.clear();
            Samples fresh = impulseResponse(scene, 0, static_cast<int>(index)).samples;
            if (detail == Detail::resting)
                one.atRest = fresh;
            else
                fresh = joined(std::move(fresh), one.atRest, scene.rooms[0], rate);
            const auto& microphone = scene.microphones[index];
            one = Kept{scene.rooms[0],           scene.sources[0].position, microphone.position,
                       scene.sources[0].pattern, microphone.pattern,        detail,
                       std::move(fresh),         std::move(one.atRest)};
        }
    }
};

PracticeAcoustics::PracticeAcoustics(double sampleRate) : contents(std::make_unique<Contents>()) {
    contents->rate = sampleRate;
}

PracticeAcoustics::~PracticeAcoustics() = default;

int PracticeAcoustics::longestResponse(double sampleRate) {
    using namespace practiceLimits;
    // The way across the largest room at the slowest sound, before the last fifth, may be longer than any decay.
    const double across = (std::sqrt(3.0) * longestEdge / speedOfSound(Celsius(coldest)) + 0.002) / 0.8;
    return static_cast<int>(std::ceil(
               (std::max(longestDecay, across) + largestNudge + TrackChain::longestSettling.value) * sampleRate)) +
           2 * ImpulseResponse::lead + 4 * FractionalDelay::taps;
}

const PracticeResponses& PracticeAcoustics::follow(const PracticeRoom& room, Detail detail) {
    assert(!faultOf(room));
    contents->renew(room, detail);
    PracticeResponses& result = contents->responses;
    result.sampleRate = contents->rate;
    std::size_t length = 0;
    for (std::size_t index = 0; index < room.microphones.size(); ++index)
        length = std::max(
            length, contents->kept[index].raw.size() +
                        static_cast<std::size_t>(treatmentTail(room.microphones[index].adjustment, contents->rate)));
    result.microphones.clear();
    for (Samples* total : {&result.sum, &result.left, &result.right})
        total->assign(length, 0.0f);
    for (std::size_t index = 0; index < room.microphones.size(); ++index) {
        const auto& adjustment = room.microphones[index].adjustment;
        result.microphones.push_back(treatedTrack(contents->kept[index].raw, adjustment, contents->rate, length));
        if (adjustment.muted) continue;
        const PanGains pan = panGains(adjustment.pan.value_or(0.0));
        add(result.sum, result.microphones.back(), 1.0);
        add(result.left, result.microphones.back(), pan.left);
        add(result.right, result.microphones.back(), pan.right);
    }
    return result;
}

PracticeReading readingOf(const PracticeRoom& room, const PracticeResponses& responses) {
    PracticeReading reading;
    const Scene scene = sceneOf(room, responses.sampleRate, Detail::moving);
    const int count = static_cast<int>(room.microphones.size());
    std::optional<double> loudest;
    for (int index = 0; index < count; ++index) {
        const auto& adjustment = room.microphones[static_cast<std::size_t>(index)].adjustment;
        reading.paths.push_back(pathOf(scene, index, adjustment));
        const auto& path = reading.paths.back();
        if (!adjustment.muted && path.polarity)
            loudest = std::max(loudest.value_or(path.level.value), path.level.value);
    }
    for (int first = 0; first < count; ++first)
        for (int second = first + 1; second < count; ++second)
            reading.pairs.push_back(pairOf(room, reading.paths, first, second));
    if (!loudest) return reading;

    // Four times the length: fine enough for a parabola between bins.
    const auto transform =
        Fourier::ofLength(static_cast<int>(std::bit_ceil(4 * static_cast<unsigned>(responses.sum.size()))));
    const double binHz = responses.sampleRate / transform->length();
    std::vector<double> reference(static_cast<std::size_t>(transform->binCount()));
    for (std::size_t bin = 0; bin < reference.size(); ++bin)
        reference[bin] = std::pow(amplitudeOfDecibels(*loudest) * dcGain(Hertz(static_cast<double>(bin) * binHz)), 2.0);
    reading.smoothed = rings(room);
    const auto curveOf = [&](const std::vector<double>& powers, const std::vector<Notch>& bottoms) {
        return reading.smoothed ? smoothedRatio(powers, reference, binHz, curvePoints, inDecibels)
                                : exactCurve(powers, reference, binHz, bottoms);
    };
    for (const Samples& response : responses.microphones)
        reading.microphones.push_back(curveOf(powersOf(spectrumOf(response, *transform)), {}));
    const auto powers = powersOf(spectrumOf(responses.sum, *transform));
    reading.notches = notchesOf(powers, reference, binHz);
    reading.sum = curveOf(powers, reading.notches);
    if (std::any_of(room.microphones.begin(), room.microphones.end(), [](const PracticeMicrophone& each) {
            return !each.adjustment.muted && each.adjustment.pan.value_or(0.0) != 0.0;
        })) {
        const auto left = powersOf(spectrumOf(responses.left, *transform));
        auto both = powersOf(spectrumOf(responses.right, *transform));
        reading.left = curveOf(left, notchesOf(left, reference, binHz));
        reading.right = curveOf(both, notchesOf(both, reference, binHz));
        std::transform(both.begin(), both.end(), left.begin(), both.begin(), std::plus<>());
        reading.notches = notchesOf(both, reference, binHz);
    }
    if (reading.notches.size() > mostNotches) reading.notches.resize(mostNotches);
    return reading;
}

bool PracticeReading::anythingAbove(Decibels dB) const {
    const auto above = [&](const FrequencyCurve& curve) {
        return std::any_of(curve.values.begin(), curve.values.end(), [&](double level) { return level > dB.value; });
    };
    return stereo() ? above(left) || above(right) : above(sum);
}

double pairCoherence(const PracticeResponses& responses, int first, int second, Band band, int window) {
    const auto& a = responses.microphones[static_cast<std::size_t>(first)];
    const auto& b = responses.microphones[static_cast<std::size_t>(second)];
    const auto transform = Fourier::ofLength(static_cast<int>(
        std::bit_ceil(2 * static_cast<unsigned>(std::max<std::size_t>(a.size(), static_cast<std::size_t>(window))))));
    const Bins spectra[] = {spectrumOf(a, *transform), spectrumOf(b, *transform)};
    const auto size = static_cast<std::size_t>(transform->length());
    AlignedVector<float> correlation(size);
    // The spectrum of the correlation as far as the window sees it.
    const auto seen = [&](const Bins& x, const Bins& y) {
        Bins product(x.size());
        for (std::size_t bin = 0; bin < x.size(); ++bin)
            product[bin] = x[bin] * std::conj(y[bin]) / static_cast<float>(size);
        transform->inverse(product.data(), correlation.data());
        for (std::size_t n = 0; n < size; ++n)
            correlation[n] *= static_cast<float>(hannOverlap(static_cast<double>(std::min(n, size - n)) / window));
        transform->forward(correlation.data(), product.data());
        return product;
    };
    const Bins cross = seen(spectra[0], spectra[1]);
    const Bins own[] = {seen(spectra[0], spectra[0]), seen(spectra[1], spectra[1])};
    const double binHz = responses.sampleRate / static_cast<double>(size);
    double sum = 0.0, weights = 0.0;
    for (std::size_t bin = 1; bin < cross.size(); ++bin) {
        const double hz = static_cast<double>(bin) * binHz;
        if (hz < band.low.value || hz > band.high.value) continue;
        const double powers = static_cast<double>(own[0][bin].real()) * static_cast<double>(own[1][bin].real());
        if (powers > 0.0) sum += std::min(1.0, static_cast<double>(std::norm(cross[bin])) / powers) / hz;
        weights += 1.0 / hz;
    }
    return weights > 0.0 ? sum / weights : 0.0;
}

} // namespace spillwright
