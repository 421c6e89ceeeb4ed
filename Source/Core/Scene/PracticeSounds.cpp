#include "Core/Scene/PracticeSounds.h"

#include "Core/RandomStream.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Core/Signal/HighPass.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <functional>
#include <numbers>
#include <utility>

namespace spillwright {

namespace {

constexpr double twoPi = 2.0 * std::numbers::pi;

std::vector<float> pinkNoise(double sampleRate) {
    int length = 1 << 12;
    while (length < 4.0 * sampleRate)
        length *= 2;
    const auto transform = Fourier::ofLength(length);
    AlignedVector<std::complex<float>> bins(static_cast<std::size_t>(transform->binCount()));
    RandomStream random(1);
    for (std::size_t bin = 1; bin < bins.size(); ++bin) {
        const double hertz = static_cast<double>(bin) * sampleRate / length;
        const double phase = twoPi * random.uniform();
        if (hertz >= 20.0 && hertz <= std::min(20000.0, 0.45 * sampleRate))
            bins[bin] = std::complex<float>(std::polar(1.0 / std::sqrt(hertz), phase));
    }
    AlignedVector<float> samples(static_cast<std::size_t>(length));
    transform->inverse(bins.data(), samples.data());
    return {samples.begin(), samples.end()};
}

/// A loop that is filled stroke by stroke; what rings past its end rings on at its beginning.
class DrumLoop {
public:
    DrumLoop(double seconds, double sampleRate)
        : rate(sampleRate), samples(static_cast<std::size_t>(std::lround(seconds * sampleRate))) {}

    /// A skin: a tone that falls from `from` to `to` Hz while it dies away in `decay` s (to 1/e).
    void skin(double start, double gain, double from, double to, double decay) {
        double phase = 0.0;
        stroke(start, decay, [&](double t) {
            phase += twoPi * (to + (from - to) * std::exp(-t / 0.03)) / rate;
            return gain * std::exp(-t / decay) * std::sin(phase);
        });
    }
    /// Wires, cymbal, stick: noise above `low` Hz.
    void hiss(double start, double gain, double low, double decay) {
        HighPass filter(Hertz(low), rate, Slope::dB12);
        stroke(start, decay, [&](double t) {
            auto sample = static_cast<float>(gain * std::exp(-t / decay) * random.bell());
            filter.process(&sample, 1);
            return static_cast<double>(sample);
        });
    }
    std::vector<float> taken() { return std::move(samples); }

private:
    void stroke(double start, double decay, const std::function<double(double)>& sound) {
        const auto first = static_cast<std::size_t>(std::lround(start * rate));
        const auto count = static_cast<std::size_t>(std::lround(10.0 * decay * rate)); // -87 dB
        constexpr double attack = 0.0007;
        for (std::size_t n = 0; n < count; ++n) {
            const double t = static_cast<double>(n) / rate;
            samples[(first + n) % samples.size()] += static_cast<float>(std::min(1.0, t / attack) * sound(t));
        }
    }
    double rate;
    std::vector<float> samples;
    RandomStream random{2};
};

std::vector<float> drums(double sampleRate) {
    constexpr double beat = 0.6; // seconds
    DrumLoop loop(8.0 * beat, sampleRate);
    const double highest = 0.4 * sampleRate;
    const auto kick = [&](double at) {
        loop.skin(at * beat, 1.0, 170.0, 52.0, 0.16);
        loop.hiss(at * beat, 0.15, std::min(2000.0, highest), 0.006);
    };
    const auto snare = [&](double at, double gain) {
        loop.skin(at * beat, 0.6 * gain, 230.0, 185.0, 0.09);
        loop.skin(at * beat, 0.35 * gain, 360.0, 330.0, 0.06);
        loop.hiss(at * beat, 0.5 * gain, std::min(900.0, highest), 0.085);
    };
    const auto tom = [&](double at, double hertz) {
        loop.skin(at * beat, 0.8, 1.5 * hertz, hertz, 0.22);
        loop.hiss(at * beat, 0.12, std::min(1500.0, highest), 0.01);
    };
    for (const double at : {0.0, 1.5, 2.5, 4.0, 5.5})
        kick(at);
    for (const double at : {1.0, 3.0, 5.0})
        snare(at, 1.0);
    snare(3.75, 0.35);
    tom(6.0, 150.0);
    tom(6.5, 150.0);
    tom(7.0, 105.0);
    tom(7.5, 82.0);
    for (int eighth = 0; eighth < 16; ++eighth)
        loop.hiss(0.5 * beat * eighth, eighth % 2 == 0 ? 0.2 : 0.12, std::min(6500.0, highest), 0.03);
    return loop.taken();
}

struct Vowel {
    std::array<double, 4> formantsHz;
};
// The first three: means of men's vowels, Peterson & Barney, JASA 24:175 (1952), from memory; the fourth is a guess.
constexpr Vowel ah{{730.0, 1090.0, 2440.0, 3400.0}}, eh{{530.0, 1840.0, 2480.0, 3400.0}},
    oh{{570.0, 840.0, 2410.0, 3400.0}}, ee{{270.0, 2290.0, 3010.0, 3600.0}};

double throughFormants(const Vowel& vowel, double hertz) {
    double gain = 1.0;
    for (const double formant : vowel.formantsHz) {
        const double ratio = hertz / formant, width = 60.0 + 0.04 * formant;
        gain /= std::abs(std::complex<double>(1.0 - ratio * ratio, ratio * width / formant));
    }
    return gain;
}

std::vector<float> voice(double sampleRate) {
    struct Sung {
        double hertz;
        Vowel vowel;
    };
    constexpr double each = 1.2; // seconds
    const std::array<Sung, 4> song{{{147.0, ah}, {165.0, eh}, {196.0, oh}, {165.0, ee}}};
    const auto count = static_cast<std::size_t>(std::lround(each * sampleRate));
    std::vector<float> samples;
    samples.reserve(song.size() * count);
    double phase = 0.0;
    for (const Sung& note : song) {
        std::vector<double> gains;
        const double highest = std::min(12000.0, 0.4 * sampleRate);
        for (int harmonic = 1; harmonic * note.hertz * 1.05 < highest; ++harmonic)
            gains.push_back(throughFormants(note.vowel, harmonic * note.hertz) / harmonic); // 6 dB an octave down
        double power = 0.0;
        for (const double gain : gains)
            power += gain * gain;
        for (std::size_t n = 0; n < count; ++n) {
            const double t = static_cast<double>(n) / sampleRate;
            const double grown = std::clamp(t / 0.3, 0.0, 1.0);
            phase += twoPi * note.hertz * (1.0 + 0.008 * grown * std::sin(twoPi * 5.3 * t)) / sampleRate;
            const std::complex<double> turn = std::polar(1.0, std::remainder(phase, twoPi));
            std::complex<double> partial = 1.0;
            double sum = 0.0;
            for (const double gain : gains) {
                partial *= turn;
                sum += gain * partial.imag();
            }
            const double open = std::min({1.0, t / 0.06, (each - t) / 0.12});
            samples.push_back(static_cast<float>(sum / std::sqrt(power) * std::sin(0.5 * std::numbers::pi * open)));
        }
    }
    return samples;
}

} // namespace

void levelPracticeSound(std::vector<float>& samples) {
    double power = 0.0;
    for (const float sample : samples)
        power += static_cast<double>(sample) * static_cast<double>(sample);
    if (!(power > 0.0)) return;
    const double rms = std::sqrt(power / static_cast<double>(samples.size()));
    const auto gain = static_cast<float>(amplitudeOfDecibels(practiceLevel.value) / rms);
    for (float& sample : samples)
        sample *= gain;
}

std::vector<float> practiceSound(PracticeSound sound, double sampleRate) {
    std::vector<float> samples = sound == PracticeSound::pinkNoise ? pinkNoise(sampleRate)
                                 : sound == PracticeSound::drums   ? drums(sampleRate)
                                                                   : voice(sampleRate);
    levelPracticeSound(samples);
    return samples;
}

} // namespace spillwright
