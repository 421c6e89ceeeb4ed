#include "Audition/PracticeSum.h"

#include "Audition/FadeCurve.h"
#include "Audition/LiveSum.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <Eigen/Core>

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cmath>
#include <complex>
#include <optional>
#include <span>

namespace spillwright {

namespace {

constexpr auto blockSize = static_cast<std::size_t>(PracticeSum::block);
constexpr std::size_t stride = (blockSize + 1 + 7) / 8 * 8; ///< Bins of a block, each block at a cache line.
constexpr int coarse = 4096;                                ///< Samples of the windows that tell how loud a change is.

using Samples = AlignedVector<float>;
using Bins = AlignedVector<std::complex<float>>;

std::shared_ptr<const Fourier> blockTransform() {
    return Fourier::ofLength(static_cast<int>(2 * blockSize));
}

std::size_t partitionsOf(std::size_t samples) {
    return (samples + blockSize - 1) / blockSize;
}

double powerOfDecibels(double dB) {
    return std::pow(10.0, dB / 10.0);
}

/// The spectra of a response's parts, for blocks of twice their length; the inverse transform's scale is in them.
Bins partsOf(std::span<const float> response, float gain) {
    const auto transform = blockTransform();
    Bins parts(partitionsOf(response.size()) * stride);
    Samples part(2 * blockSize);
    for (std::size_t from = 0, at = 0; from < response.size(); from += blockSize, at += stride) {
        std::fill(part.begin(), part.end(), 0.0f);
        const auto count = std::min(blockSize, response.size() - from);
        for (std::size_t n = 0; n < count; ++n)
            part[n] = gain * response[from + n] / static_cast<float>(2 * blockSize);
        transform->forward(part.data(), parts.data() + at);
    }
    return parts;
}

/// Power a bin of `coarse` samples: the mean over half-overlapping Hann windows of a loop. Its sum is the loop's mean
/// square, about.
std::vector<double> loopSpectrum(const std::vector<float>& loop) {
    std::vector<double> powers(coarse / 2 + 1);
    if (loop.empty()) return powers;
    const auto transform = Fourier::ofLength(coarse);
    Samples window(coarse);
    Bins bins(powers.size());
    const std::size_t windows = std::max<std::size_t>(1, 2 * loop.size() / coarse);
    for (std::size_t index = 0; index < windows; ++index) {
        for (std::size_t n = 0; n < coarse; ++n)
            window[n] =
                loop[(index * coarse / 2 + n) % loop.size()] *
                static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / coarse));
        transform->forward(window.data(), bins.data());
        for (std::size_t bin = 0; bin < powers.size(); ++bin)
            powers[bin] += static_cast<double>(std::norm(bins[bin])) / static_cast<double>(windows);
    }
    return powers;
}

/// Of what comes out of two responses when the loop goes in; the scale is the same for all.
double powerOf(std::span<const double> spectrum, std::span<const float> left, std::span<const float> right) {
    const auto transform = Fourier::ofLength(
        std::max(coarse, static_cast<int>(std::bit_ceil(static_cast<unsigned>(std::max(left.size(), right.size()))))));
    Samples signal(static_cast<std::size_t>(transform->length()));
    Bins bins(static_cast<std::size_t>(transform->binCount()));
    const auto share = static_cast<std::size_t>(transform->length() / coarse); // fine bins of a coarse one
    double power = 0.0;
    for (const auto side : {left, right}) {
        std::fill(signal.begin(), signal.end(), 0.0f);
        std::copy(side.begin(), side.end(), signal.begin());
        transform->forward(signal.data(), bins.data());
        for (std::size_t bin = 0; bin < bins.size(); ++bin)
            power += spectrum[(bin + share / 2) / share] * static_cast<double>(std::norm(bins[bin])) /
                     static_cast<double>(share);
    }
    return power;
}

} // namespace

/// What is to be heard: made by the message thread, read by the audio thread, freed by the message thread.
struct PracticeSum::Wish {
    std::shared_ptr<const std::vector<float>> sound;
    Bins left, right;
    std::size_t partitions = 0;
    double power = 0.0;
    std::atomic<bool> letGo{false};
};

/// What the audio thread holds; made before it begins.
struct PracticeSum::Voice {
    explicit Voice(double sampleRate)
        : transform(blockTransform()),
          slots(partitionsOf(static_cast<std::size_t>(PracticeAcoustics::longestResponse(sampleRate)))),
          past(slots * stride), curtainLength(static_cast<int>(std::lround(LiveSum::fadeTime.value * sampleRate))),
          curtainCurve(fadeCurveOf(curtainLength)), fadeCurve(fadeCurveOf(fade)), hertz(sampleRate) {}

    /// How one wish is heard.
    struct Deck {
        Wish* wish = nullptr;
        std::size_t position = 0; ///< In its loop.
        float level = 1.0f, riseStep = 1.0f;
    };

    const std::shared_ptr<const Fourier> transform;
    const std::size_t slots;
    Bins past; ///< The spectra of the last blocks of the loop, [slot].
    std::size_t newest = 0;
    Samples input = Samples(2 * blockSize), output = Samples(2 * blockSize);
    Bins product = Bins(stride);
    std::array<float, blockSize> left{}, right{}, otherLeft{}, otherRight{};
    std::size_t place = blockSize; ///< In left and right: what comes next.
    Deck now, before;
    int fadeLeft = 0; ///< Samples.
    const int curtainLength;
    int curtain = 0; ///< 0 closed.
    const std::vector<float> curtainCurve, fadeCurve;
    const double hertz;

    void take(Wish* wish) {
        if (before.wish) before.wish->letGo = true;
        before = now;
        now.wish = wish;
        if (!before.wish || before.wish->sound != wish->sound) now.position = 0;
        if (curtain == 0) {
            if (before.wish) before.wish->letGo = true;
            before.wish = nullptr;
            now.level = 1.0f;
            place = blockSize;
            return;
        }
        const double heardDb = 10.0 * std::log10(before.wish->power + 1e-30);
        const double levelDb = decibelsOfAmplitude(static_cast<double>(before.level));
        const double moreDb = 10.0 * std::log10(wish->power + 1e-30) - heardDb;
        // Amid a rise it goes on from where it is; the quietest beginning still rises within longestRise.
        constexpr double quietestDb = -60.0;
        const double startDb =
            std::clamp(levelDb - moreDb + (levelDb < 0.0 ? 0.0 : LiveSum::mostLouderDb), quietestDb, 0.0);
        now.level = startDb < 0.0 ? static_cast<float>(amplitudeOfDecibels(startDb)) : 1.0f;
        now.riseStep = static_cast<float>(
            amplitudeOfDecibels(std::max(LiveSum::riseRate, -startDb / LiveSum::longestRise.value) / hertz));
        fadeLeft = fade;
    }

    /// The loop's next block; where one sound gives way to another, both.
    void feed() {
        std::copy_n(input.begin() + blockSize, blockSize, input.begin());
        const bool otherSound = fadeLeft > 0 && before.wish->sound != now.wish->sound;
        for (std::size_t n = 0; n < blockSize; ++n) {
            float sample = next(now);
            if (otherSound) {
                const float in = fadeCurve[static_cast<std::size_t>(fade - fadeLeft) + n];
                sample = in * sample + (1.0f - in) * next(before);
            }
            input[blockSize + n] = sample;
        }
        newest = newest == 0 ? slots - 1 : newest - 1;
        transform->forward(input.data(), past.data() + newest * stride);
    }
    static float next(Deck& deck) {
        if (deck.wish->sound->empty()) return 0.0f;
        const auto& loop = *deck.wish->sound;
        const float sample = loop[deck.position];
        deck.position = deck.position + 1 >= loop.size() ? 0 : deck.position + 1;
        return sample;
    }

    void convolve(const Bins& parts, std::size_t partitions, float* out) {
        using Row = Eigen::Map<const Eigen::ArrayXcf, Eigen::Aligned64>;
        constexpr auto count = static_cast<Eigen::Index>(stride);
        Eigen::Map<Eigen::ArrayXcf, Eigen::Aligned64> sum(product.data(), count);
        sum.setZero();
        for (std::size_t part = 0, slot = newest; part < partitions; ++part, slot = slot + 1 == slots ? 0 : slot + 1)
            sum += Row(past.data() + slot * stride, count) * Row(parts.data() + part * stride, count);
        transform->inverse(product.data(), output.data());
        std::copy_n(output.begin() + blockSize, blockSize, out);
    }

    void rise(Deck& deck, float* l, float* r) {
        for (std::size_t n = 0; n < blockSize; ++n) {
            l[n] *= deck.level;
            r[n] *= deck.level;
            if (deck.level < 1.0f) deck.level = std::min(1.0f, deck.level * deck.riseStep);
        }
    }

    void makeBlock() {
        feed();
        convolve(now.wish->left, now.wish->partitions, left.data());
        convolve(now.wish->right, now.wish->partitions, right.data());
        rise(now, left.data(), right.data());
        if (fadeLeft > 0) {
            convolve(before.wish->left, before.wish->partitions, otherLeft.data());
            convolve(before.wish->right, before.wish->partitions, otherRight.data());
            for (std::size_t n = 0; n < blockSize; ++n) {
                const float in = fadeCurve[static_cast<std::size_t>(fade - fadeLeft) + n];
                left[n] = in * left[n] + (1.0f - in) * before.level * otherLeft[n];
                right[n] = in * right[n] + (1.0f - in) * before.level * otherRight[n];
            }
            fadeLeft -= static_cast<int>(blockSize);
            if (fadeLeft == 0) {
                before.wish->letGo = true;
                before.wish = nullptr;
            }
        }
        place = 0;
    }
};

PracticeSum::PracticeSum(double sampleRate) : rate(sampleRate), voice(std::make_unique<Voice>(sampleRate)) {}

PracticeSum::~PracticeSum() = default;

void PracticeSum::setSound(std::shared_ptr<const std::vector<float>> loop) {
    sound = loop ? std::move(loop) : std::make_shared<const std::vector<float>>();
    soundSpectrum = loopSpectrum(*sound);
    limit();
    ask();
}

void PracticeSum::hear(const PracticeResponses& responses, Change change) {
    assert(responses.sampleRate == rate);
    responseLeft = responses.left;
    responseRight = responses.right;
    if (change == Change::beginning || beginningLeft.empty()) {
        beginningLeft = responseLeft;
        beginningRight = responseRight;
        limit();
    }
    ask();
}

/// The most that is heard of the present sound.
void PracticeSum::limit() {
    if (!sound || beginningLeft.empty()) return;
    const std::vector<float> one{1.0f}, none; // the pan keeps the power: all on one side is as loud as in the middle
    const double usual = powerOf(soundSpectrum, one, none);
    const double begun = powerOf(soundSpectrum, beginningLeft, beginningRight);
    most = std::clamp(begun, usual, usual * powerOfDecibels(loudestBeginningDb)) * powerOfDecibels(mostLouderDb);
}

void PracticeSum::ask() {
    if (!sound || responseLeft.empty()) return;
    auto wish = std::make_unique<Wish>();
    wish->sound = sound;
    const double power = powerOf(soundSpectrum, responseLeft, responseRight);
    turnedDownBy = Decibels(power > most ? decibelsOfPower(power / most) : 0.0);
    const auto gain = static_cast<float>(amplitudeOfDecibels(-turnedDownBy.value));
    wish->left = partsOf(responseLeft, gain);
    wish->right = partsOf(responseRight, gain);
    wish->partitions = partitionsOf(responseLeft.size());
    assert(wish->partitions <= voice->slots);
    wish->power = std::min(power, most);
    std::erase_if(wishes, [](const auto& one) { return one->letGo.load(); });
    wishes.push_back(std::move(wish));
    if (Wish* const untaken = asked.exchange(wishes.back().get())) untaken->letGo = true;
}

void PracticeSum::render(float* left, float* right, int count) {
    Voice& v = *voice;
    for (int done = 0; done < count;) {
        const bool mayTake = v.fadeLeft == 0 && (v.curtain == 0 || v.place == blockSize);
        if (mayTake)
            if (Wish* const wish = asked.exchange(nullptr)) v.take(wish);
        const bool open = wanted && v.now.wish;
        if (!open && v.curtain == 0) {
            std::fill(left + done, left + count, 0.0f);
            std::fill(right + done, right + count, 0.0f);
            break;
        }
        if (v.place == blockSize) v.makeBlock();
        const int chunk = std::min(count - done, static_cast<int>(blockSize - v.place));
        for (int n = 0; n < chunk; ++n, ++v.place) {
            v.curtain = std::clamp(v.curtain + (open ? 1 : -1), 0, v.curtainLength);
            const float gain = v.curtainCurve[static_cast<std::size_t>(v.curtain)];
            left[done + n] = gain * v.left[v.place];
            right[done + n] = gain * v.right[v.place];
        }
        done += chunk;
    }
    audible = v.curtain > 0;
}

} // namespace spillwright
