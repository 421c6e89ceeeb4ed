#include "Session/Words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <iterator>
#include <sstream>
#include <utility>
#include <vector>

namespace spillwright {

namespace {

constexpr const char* asRecorded = "as recorded";

/// Edit distance of two names without regard to ASCII case, for "did you mean".
int distance(std::string_view a, std::string_view b) {
    auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
    std::vector<int> row(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j)
        row[j] = static_cast<int>(j);
    for (std::size_t i = 1; i <= a.size(); ++i) {
        int diagonal = row[0];
        row[0] = static_cast<int>(i);
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const int substituted = diagonal + (lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1);
            diagonal = row[j];
            row[j] = std::min({row[j] + 1, row[j - 1] + 1, substituted});
        }
    }
    return row[b.size()];
}

} // namespace

std::string pairName(const Measurement& measurement, int first, int second) {
    return measurement.tracks[static_cast<std::size_t>(first)].name + " / " +
           measurement.tracks[static_cast<std::size_t>(second)].name;
}

std::string clockText(double seconds, bool hundredths) {
    const auto total = static_cast<long long>(std::floor(std::max(0.0, seconds) * 100.0 + 1e-6));
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), hundredths ? "%lld:%02lld.%02lld" : "%lld:%02lld", total / 6000,
                  total / 100 % 60, total % 100);
    return text.data();
}

std::string decibelsText(double value, int digits) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%.*f dB", digits, value);
    return text.data();
}

std::string nearNames(std::string_view name, std::span<const std::string> names) {
    constexpr std::size_t most = 3;
    std::vector<std::pair<int, std::string>> near;
    for (const auto& other : names)
        near.emplace_back(distance(name, other), other);
    std::stable_sort(near.begin(), near.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    std::string list = "near ones: ";
    for (std::size_t i = 0; i < std::min(near.size(), most); ++i)
        list += (i == 0 ? "'" : ", '") + near[i].second + "'";
    return list;
}

std::string commonWords(std::span<const std::string> names) {
    if (names.size() == 1) return names.front();
    const auto wordsOf = [](const std::string& name) {
        std::istringstream text(name);
        return std::vector<std::string>(std::istream_iterator<std::string>(text), {});
    };
    std::vector<std::string> common;
    for (std::size_t k = 0; k < names.size(); ++k) {
        const auto words = wordsOf(names[k]);
        if (k == 0) common = words;
        common.erase(std::mismatch(common.begin(), common.end(), words.begin(), words.end()).first, common.end());
    }
    std::string text;
    for (const auto& word : common)
        text += (text.empty() ? "" : " ") + word;
    return text;
}

std::string adjustmentInWords(const TrackAdjustment& adjustment) {
    std::string text;
    const auto add = [&](const std::string& words) { text += (text.empty() ? "" : ", ") + words; };
    const auto number = [](double value) { // as many digits as it has, up to four
        std::array<char, 64> digits{};
        std::snprintf(digits.data(), digits.size(), "%.4g", value);
        return std::string(digits.data());
    };
    if (adjustment.muted) add("muted");
    if (adjustment.flip) add("flipped");
    if (const double ms = inMilliseconds(adjustment.nudge); ms != 0.0)
        add(number(std::abs(ms)) + (ms > 0.0 ? " ms later" : " ms earlier"));
    if (adjustment.gain != Decibels(0.0))
        add((adjustment.gain.value > 0.0 ? "+" : "") + number(adjustment.gain.value) + " dB");
    if (adjustment.highPass)
        add("high-pass " + number(adjustment.highPass->value) + " Hz at " +
            std::to_string(inDecibelsPerOctave(adjustment.highPassSlope)) + " dB an octave");
    if (adjustment.pan)
        add(*adjustment.pan == 0.0
                ? "in the centre"
                : "pan " + number(100.0 * std::abs(*adjustment.pan)) + (*adjustment.pan < 0.0 ? " left" : " right"));
    return text.empty() ? asRecorded : text;
}

std::string trackTrouble(const TrackInfo& track) {
    switch (track.state) {
    case TrackState::silent:
        return "silent";
    case TrackState::unreadable:
        return "unreadable: " + track.why;
    case TrackState::ok:
        return {};
    }
    return {};
}

std::vector<std::string> adjustmentsInWords(std::span<const TrackInfo> tracks,
                                            std::span<const TrackAdjustment> adjustments) {
    Setting changes;
    for (std::size_t i = 0; i < tracks.size(); ++i) {
        changes.tracks.push_back({tracks[i].name, adjustments[i]});
        auto& pan = changes.tracks.back().adjustment.pan;
        if (pan == defaultPan(tracks[i])) pan.reset();
    }
    return settingInWords(changes);
}

std::vector<std::string> settingInWords(const Setting& setting) {
    std::vector<std::string> lines;
    for (const auto& track : setting.tracks)
        if (const auto words = adjustmentInWords(track.adjustment); words != asRecorded)
            lines.push_back(track.track + ": " + words);
    if (lines.empty()) lines.push_back("every track as recorded");
    return lines;
}

} // namespace spillwright
