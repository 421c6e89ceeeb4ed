#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

namespace spillwright::test {

/// WAV files byte by byte, independent of the program's own writers, so that they can also be wrong on purpose.
struct WavBytes {
    int rate = 48000;
    int channels = 1;
    int bits = 16; ///< 16, 24, or 32 with isFloat.
    bool isFloat = false;
    std::uint32_t dataSize = 0; ///< What the header promises; 0: what there is.
    std::vector<float> interleaved;

    std::string bytes() const {
        std::string data;
        for (float sample : interleaved) {
            if (isFloat) {
                char raw[4];
                std::memcpy(raw, &sample, 4);
                data.append(raw, 4);
            } else {
                const double full = std::ldexp(1.0, bits - 1);
                const auto value = static_cast<std::int64_t>(
                    std::clamp(std::nearbyint(static_cast<double>(sample) * full), -full, full - 1.0));
                for (int b = 0; b < bits / 8; ++b)
                    data.push_back(static_cast<char>((value >> (8 * b)) & 0xff));
            }
        }
        const auto size = dataSize != 0 ? dataSize : static_cast<std::uint32_t>(data.size());
        std::string out = "RIFF";
        append32(out, 36 + size);
        out += "WAVEfmt ";
        append32(out, 16);
        append16(out, isFloat ? 3 : 1);
        append16(out, channels);
        append32(out, static_cast<std::uint32_t>(rate));
        append32(out, static_cast<std::uint32_t>(rate * channels * bits / 8));
        append16(out, channels * bits / 8);
        append16(out, bits);
        out += "data";
        append32(out, size);
        return out + data;
    }

    static void append32(std::string& out, std::uint32_t v) {
        for (int b = 0; b < 4; ++b)
            out.push_back(static_cast<char>((v >> (8 * b)) & 0xff));
    }
    static void append16(std::string& out, int v) {
        out.push_back(static_cast<char>(v & 0xff));
        out.push_back(static_cast<char>((v >> 8) & 0xff));
    }
};

inline void writeBytes(const std::filesystem::path& path, const std::string& bytes) {
    std::ofstream(path, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

inline void writeWav(const std::filesystem::path& path, std::vector<float> samples, int rate = 48000,
                     int channels = 1) {
    WavBytes wav;
    wav.rate = rate;
    wav.channels = channels;
    wav.bits = 24;
    wav.interleaved = std::move(samples);
    writeBytes(path, wav.bytes());
}

/// White noise of about -20 dBFS, the same for the same seed.
inline std::vector<float> noise(std::size_t samples, unsigned seed, float level = 0.1f) {
    std::mt19937 generator(seed);
    std::vector<float> out(samples);
    for (auto& sample : out) // uniform, unit variance: the generator's own numbers are the same everywhere
        sample = level * static_cast<float>(std::sqrt(3.0) * (static_cast<double>(generator()) / 2147483648.0 - 1.0));
    return out;
}

inline std::vector<float> delayed(const std::vector<float>& x, int samples, float gain = 1.0f) {
    std::vector<float> out(x.size(), 0.0f);
    for (std::size_t n = 0; n < x.size(); ++n)
        if (const auto from = static_cast<std::int64_t>(n) - samples;
            from >= 0 && from < static_cast<std::int64_t>(x.size()))
            out[n] = gain * x[static_cast<std::size_t>(from)];
    return out;
}

inline std::vector<float> mixed(std::vector<float> a, const std::vector<float>& b) {
    for (std::size_t n = 0; n < a.size(); ++n)
        a[n] += b[n];
    return a;
}

} // namespace spillwright::test
