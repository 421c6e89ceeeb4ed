#include "Core/Scene/Acoustics.h"

#include "Core/RandomStream.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <Eigen/Core>

#include <algorithm>
#include <bit>
#include <cassert>
#include <cmath>
#include <numbers>

namespace spillwright {

double distanceBetween(const Point& a, const Point& b) {
    return std::hypot(a.x - b.x, a.y - b.y, a.z - b.z);
}

namespace {

using Vector = std::array<double, 3>;

double dot(const Vector& a, const Vector& b) {
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/// Unit vector; {} where the two points are the same.
Vector direction(const Point& from, const Point& to) {
    const double d = distanceBetween(from, to);
    if (d == 0.0) return {};
    return {(to.x - from.x) / d, (to.y - from.y) / d, (to.z - from.z) / d};
}

double patternGain(double omniShare, double cosine) {
    return omniShare + (1.0 - omniShare) * cosine;
}

/// Which reflections of an image a surface pair takes: the walls take turns, the nearer one first.
int hitsOnLow(int index) {
    const int n = std::abs(index);
    return index < 0 ? (n + 1) / 2 : n / 2;
}
int hitsOnHigh(int index) {
    return std::abs(index) - hitsOnLow(index);
}

/// In -1..1, the same with source and microphone changed over: that mirrors the even indices and keeps the odd ones.
double scatterOf(const std::array<int, 3>& index) {
    std::uint64_t key = 0;
    for (int i : index)
        key = key * 65537 + static_cast<std::uint64_t>((i % 2 == 0 ? std::abs(i) : i) + 32768);
    return 2.0 * RandomStream(key).uniform() - 1.0;
}

/// Windowed-sinc taps for 1024 places between two samples.
class TapTable {
public:
    static constexpr int taps = 64;
    static constexpr int before = taps / 2 - 1;
    static constexpr int places = 1024;
    using Tap = Eigen::Array<float, taps, 1>;

    TapTable() : table(taps, places + 1) {
        constexpr double beta = 10.0; // complex error below -90 dB up to 0.9 Nyquist
        const double scale = 1.0 / std::cyl_bessel_i(0.0, beta);
        for (int place = 0; place <= places; ++place)
            for (int k = 0; k < taps; ++k) {
                const double t = k - before - static_cast<double>(place) / places;
                const double across = t / (taps / 2);
                const double window =
                    std::abs(across) < 1.0 ? std::cyl_bessel_i(0.0, beta * std::sqrt(1.0 - across * across)) : 0.0;
                const double x = std::numbers::pi * t;
                table(k, place) = static_cast<float>(window * scale * (t == 0.0 ? 1.0 : std::sin(x) / x));
            }
    }
    auto at(double fraction) const { return table.col(static_cast<int>(std::lround(fraction * places))); }

private:
    Eigen::Array<float, taps, Eigen::Dynamic> table;
};

/// Amplitude that is left after all reflections of one axis, an octave each, for indices -reach..reach.
class AxisReflections {
public:
    AxisReflections(const PerOctave& absorptionLow, const PerOctave& absorptionHigh, int reach)
        : offset(reach), gains(static_cast<std::size_t>(2 * reach + 1)) {
        for (int index = -reach; index <= reach; ++index)
            for (std::size_t octave = 0; octave < octaves; ++octave)
                gains[static_cast<std::size_t>(index + offset)][octave] =
                    std::pow(std::sqrt(1.0 - absorptionLow[octave]), hitsOnLow(index)) *
                    std::pow(std::sqrt(1.0 - absorptionHigh[octave]), hitsOnHigh(index));
    }
    const PerOctave& at(int index) const { return gains[static_cast<std::size_t>(index + offset)]; }

private:
    int offset;
    std::vector<PerOctave> gains;
};

int reachAlong(double edge, double farthest) {
    return static_cast<int>(std::ceil(farthest / edge)) + 1;
}

int decayLength(const ShoeboxRoom& room, double sampleRate) {
    return static_cast<int>(std::ceil(room.decay.value * sampleRate));
}

/// No wall sends anything back.
bool bare(const ShoeboxRoom& room) {
    PerOctave all;
    all.fill(1.0);
    return std::all_of(room.absorption.begin(), room.absorption.end(), [&](const PerOctave& a) { return a == all; });
}

/// Nothing in the room depends on frequency.
bool octavesAlike(const ShoeboxRoom& room) {
    const auto alike = [](const PerOctave& values) {
        return std::all_of(values.begin(), values.end(), [&](double value) { return value == values[0]; });
    };
    return alike(room.airLossDbPerMetre) && std::all_of(room.absorption.begin(), room.absorption.end(), alike);
}

/// The weight of an octave at a frequency: neighbours share the way between their centres and sum to 1.
double octaveWeight(std::size_t octave, double hz) {
    const double place =
        std::clamp(std::log2(std::max(hz, 1.0) / octaveCentresHz[0]), 0.0, static_cast<double>(octaves - 1));
    const double away = std::abs(place - static_cast<double>(octave));
    if (away >= 1.0) return 0.0;
    const double c = std::cos(0.5 * std::numbers::pi * away);
    return c * c;
}

} // namespace

std::vector<Image> images(const ShoeboxRoom& room, const SceneSource& source, const SceneMicrophone& microphone,
                          Metres farthest, std::optional<int> highestOrder) {
    const Vector sourceAim = direction(source.position, source.pattern.aimedAt);
    const Vector microphoneAim = direction(microphone.position, microphone.pattern.aimedAt);
    std::array<int, 3> reach{};
    for (int axis = 0; axis < 3; ++axis) {
        const auto a = static_cast<std::size_t>(axis);
        reach[a] = reachAlong(room.size[axis], farthest.value);
        if (highestOrder) reach[a] = std::min(reach[a], *highestOrder);
    }

    // From the image to the microphone along one axis.
    const auto way = [&](int axis, int index) {
        const double edge = room.size[axis];
        const double x = source.position[axis];
        return microphone.position[axis] - (index * edge + (index % 2 == 0 ? x : edge - x));
    };

    std::vector<Image> found;
    for (int i = -reach[0]; i <= reach[0]; ++i) {
        const double dx = way(0, i);
        for (int j = -reach[1]; j <= reach[1]; ++j) {
            const double dy = way(1, j);
            if (dx * dx + dy * dy > farthest.value * farthest.value) continue;
            for (int k = -reach[2]; k <= reach[2]; ++k) {
                Image image{.index = {i, j, k}, .order = std::abs(i) + std::abs(j) + std::abs(k)};
                if (highestOrder && image.order > *highestOrder) continue;
                const Vector d{dx, dy, way(2, k)};
                const double exact = std::sqrt(dot(d, d));
                if (exact > farthest.value) continue;
                image.distance = exact;
                // The first reflections stay where the walls are; they are never moved before the direct sound.
                if (image.order > 1 && room.scatter.value > 0.0)
                    image.distance += room.scatter.value * scatterOf(image.index);
                // The mirror turns the way the sound left the source by.
                const Vector left{i % 2 == 0 ? dx : -dx, j % 2 == 0 ? dy : -dy, k % 2 == 0 ? d[2] : -d[2]};
                image.pattern = patternGain(source.pattern.omniShare, dot(sourceAim, left) / exact) *
                                patternGain(microphone.pattern.omniShare, -dot(microphoneAim, d) / exact);
                found.push_back(image);
            }
        }
    }
    return found;
}

std::optional<DirectPath> directPath(const Scene& scene, int source, int microphone) {
    const auto& from = scene.sources[static_cast<std::size_t>(source)];
    const auto& to = scene.microphones[static_cast<std::size_t>(microphone)];
    if (from.room != to.room) return std::nullopt;
    const auto& room = scene.rooms[static_cast<std::size_t>(from.room)];
    const Metres distance(distanceBetween(from.position, to.position));
    const Image image = images(room, from, to, distance * (1.0 + 1e-9), 0).front();
    DirectPath path;
    path.distance = distance;
    path.arrival = Seconds(distance.value / speedOfSound(room.temperature) + to.faults.lateSamples / scene.sampleRate);
    path.level = from.level + to.gain +
                 Decibels(decibelsOfAmplitude(std::abs(image.pattern) / (4.0 * std::numbers::pi * distance.value)));
    constexpr double null = 1e-6; // rounding of the angle
    if (std::abs(image.pattern) > null)
        path.polarity = (image.pattern > 0.0) != to.faults.inverted ? Polarity::same : Polarity::inverted;
    return path;
}

double dcGain(Hertz frequency) {
    const double ratio = frequency / dcCorner;
    const double fourth = ratio * ratio * ratio * ratio;
    return fourth / (1.0 + fourth);
}

int responseLength(const ShoeboxRoom& room, double sampleRate) {
    return ImpulseResponse::lead + decayLength(room, sampleRate) + TapTable::taps +
           static_cast<int>(std::ceil(room.silence.value * sampleRate));
}

ImpulseResponse impulseResponse(const Scene& scene, int source, int microphone) {
    static const TapTable table;
    const auto& from = scene.sources[static_cast<std::size_t>(source)];
    const auto& to = scene.microphones[static_cast<std::size_t>(microphone)];
    assert(from.room == to.room);
    const auto& room = scene.rooms[static_cast<std::size_t>(from.room)];
    const double metresPerSample = speedOfSound(room.temperature) / scene.sampleRate;
    const int length = responseLength(room, scene.sampleRate);
    const int decaySamples = decayLength(room, scene.sampleRate);
    const Metres farthest(decaySamples * metresPerSample);

    const auto axis = [&](Surface low, Surface high, int a) {
        return AxisReflections(room.absorption[static_cast<std::size_t>(low)],
                               room.absorption[static_cast<std::size_t>(high)],
                               reachAlong(room.size[a], farthest.value));
    };
    const AxisReflections alongX = axis(Surface::xLow, Surface::xHigh, 0);
    const AxisReflections alongY = axis(Surface::yLow, Surface::yHigh, 1);
    const AxisReflections alongZ = axis(Surface::floor, Surface::ceiling, 2);
    const double gain = amplitudeOfDecibels((from.level + to.gain).value) / (4.0 * std::numbers::pi);

    const auto transform = Fourier::ofLength(static_cast<int>(std::bit_ceil(static_cast<unsigned>(length))));
    const auto size = static_cast<std::size_t>(transform->length());
    const std::size_t bands = octavesAlike(room) ? 1 : octaves;
    std::vector<AlignedVector<float>> perBand(bands, AlignedVector<float>(size));
    for (const Image& image : images(room, from, to, farthest, bare(room) ? std::optional(0) : std::nullopt)) {
        const double place = image.distance / metresPerSample;
        const int whole = static_cast<int>(std::floor(place));
        const int start = ImpulseResponse::lead + whole - TapTable::before;
        if (start + TapTable::taps > length) continue; // scattered past the end
        const auto tap = table.at(place - whole);
        const double amplitude = gain * image.pattern / image.distance;
        const PerOctave& x = alongX.at(image.index[0]);
        const PerOctave& y = alongY.at(image.index[1]);
        const PerOctave& z = alongZ.at(image.index[2]);
        for (std::size_t band = 0; band < bands; ++band)
            if (const auto weight = static_cast<float>(amplitude * x[band] * y[band] * z[band]); weight != 0.0f)
                Eigen::Map<TapTable::Tap>(perBand[band].data() + start) += weight * tap;
    }

    // Sound that arrives at sample n has come n samples' way through the air; towards the end all fades out.
    constexpr double fadeShare = 0.2;
    const auto bins = static_cast<std::size_t>(transform->binCount());
    AlignedVector<std::complex<float>> sum(bins);
    AlignedVector<std::complex<float>> spectrum(bins);
    const double binHz = scene.sampleRate / static_cast<double>(size);
    for (std::size_t band = 0; band < bands; ++band) {
        const double loss = room.airLossDbPerMetre[band];
        for (int n = 0; n < length - ImpulseResponse::lead; ++n) {
            const double left = (1.0 - static_cast<double>(n) / decaySamples) / fadeShare;
            if (left >= 1.0 && loss == 0.0) continue;
            const double fade = std::sin(0.5 * std::numbers::pi * std::clamp(left, 0.0, 1.0));
            perBand[band][static_cast<std::size_t>(ImpulseResponse::lead + n)] *=
                static_cast<float>(fade * fade * amplitudeOfDecibels(-loss * n * metresPerSample));
        }
        transform->forward(perBand[band].data(), spectrum.data());
        for (std::size_t bin = 0; bin < bins; ++bin) {
            const double hz = static_cast<double>(bin) * binHz;
            const double weight = bands == 1 ? 1.0 : octaveWeight(band, hz);
            sum[bin] += spectrum[bin] * static_cast<float>(weight * dcGain(Hertz(hz)) / static_cast<double>(size));
        }
    }
    AlignedVector<float> response(size);
    transform->inverse(sum.data(), response.data());
    ImpulseResponse result;
    result.samples.assign(response.begin(), response.begin() + length);
    return result;
}

} // namespace spillwright
