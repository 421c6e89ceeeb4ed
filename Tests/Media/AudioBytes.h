#pragma once

#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace spillwright::test {

// Audio files byte by byte, so that headers can be wrong on purpose.

inline std::string little(std::uint64_t value, int bytes) {
    std::string text;
    for (int i = 0; i < bytes; ++i)
        text += static_cast<char>((value >> (8 * i)) & 0xFF);
    return text;
}

inline std::string big(std::uint64_t value, int bytes) {
    const std::string text = little(value, bytes);
    return {text.rbegin(), text.rend()};
}

inline std::string chunk(const std::string& name, const std::string& body) {
    return name + little(body.size(), 4) + body + std::string(body.size() % 2, '\0');
}

inline std::string bigChunk(const std::string& name, const std::string& body) {
    return name + big(body.size(), 4) + body + std::string(body.size() % 2, '\0');
}

/// tag 1: integers, 3: IEEE float.
inline std::string formatBody(int tag, int channels, int rate, int bits) {
    const int frameBytes = channels * bits / 8;
    return little(std::uint64_t(tag), 2) + little(std::uint64_t(channels), 2) + little(std::uint64_t(rate), 4) +
           little(std::uint64_t(rate * frameBytes), 4) + little(std::uint64_t(frameBytes), 2) +
           little(std::uint64_t(bits), 2);
}

inline std::string riff(const std::string& chunks) {
    return "RIFF" + little(4 + chunks.size(), 4) + "WAVE" + chunks;
}

inline std::string wav(int tag, int channels, int rate, int bits, const std::string& data) {
    return riff(chunk("fmt ", formatBody(tag, channels, rate, bits)) + chunk("data", data));
}

inline std::string integers(const std::vector<std::int64_t>& samples, int bytes) {
    std::string text;
    for (auto sample : samples)
        text += little(static_cast<std::uint64_t>(sample), bytes);
    return text;
}

inline std::string bigIntegers(const std::vector<std::int64_t>& samples, int bytes) {
    std::string text;
    for (auto sample : samples)
        text += big(static_cast<std::uint64_t>(sample), bytes);
    return text;
}

inline std::string floats(const std::vector<float>& samples) {
    std::string text;
    for (float sample : samples)
        text += little(std::bit_cast<std::uint32_t>(sample), 4);
    return text;
}

inline std::string wav24(int rate, const std::vector<std::int64_t>& samples, int channels = 1) {
    return wav(1, channels, rate, 24, integers(samples, 3));
}

/// EBU Tech 3285: 602 bytes and the coding history.
inline std::string broadcastExtension(const std::string& description, std::uint64_t timeReference,
                                      const std::string& codingHistory) {
    std::string body = description;
    body.resize(256);
    body += std::string("Field recorder").append(18, '\0') + std::string("REF0001").append(25, '\0');
    body += "2026-03-0112:30:05" + little(timeReference, 8) + little(2, 2);
    for (int i = 0; i < 64; ++i)
        body += static_cast<char>(i); // UMID
    body += little(static_cast<std::uint16_t>(-2310), 2) + std::string(8, '\x7F') + std::string(180, '\0');
    return body + codingHistory;
}

inline std::vector<std::int64_t> noise24(std::size_t count, unsigned seed) {
    std::mt19937 engine(seed);
    std::vector<std::int64_t> samples(count);
    for (auto& sample : samples)
        sample = static_cast<std::int64_t>(engine() >> 9) - (1 << 22); // half of full scale
    return samples;
}

inline std::vector<float> sine(double frequency, double rate, std::size_t count, double amplitude = 0.5,
                               double phase = 0.0) {
    std::vector<float> samples(count);
    for (std::size_t n = 0; n < count; ++n)
        samples[n] = static_cast<float>(
            amplitude * std::sin(2.0 * std::numbers::pi * frequency * static_cast<double>(n) / rate + phase));
    return samples;
}

} // namespace spillwright::test
