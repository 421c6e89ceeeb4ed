#include "Media/BroadcastExtension.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

// Bytes of the fields, and where they begin.
constexpr std::size_t descriptionBytes = 256, originatorAt = 256, originatorBytes = 32, dateAt = 320, dateBytes = 10,
                      timeAt = 330, timeBytes = 8, historyAt = 602;

std::string textOf(std::span<const std::byte> field) {
    const auto* first = reinterpret_cast<const char*>(field.data());
    std::string text(first, std::find(first, first + field.size(), '\0'));
    text.erase(text.find_last_not_of(" \r\n") + 1);
    return text;
}

} // namespace

BroadcastExtension BroadcastExtension::of(std::span<const std::byte> body) {
    BroadcastExtension fields;
    if (body.size() < historyAt) return fields;
    fields.description = textOf(body.first(descriptionBytes));
    fields.originator = textOf(body.subspan(originatorAt, originatorBytes));
    fields.date = textOf(body.subspan(dateAt, dateBytes));
    fields.time = textOf(body.subspan(timeAt, timeBytes));
    fields.codingHistory = textOf(body.subspan(historyAt));
    return fields;
}

std::vector<std::byte> withCodingHistory(std::span<const std::byte> body, std::string_view line) {
    std::vector<std::byte> result(body.begin(), body.end());
    if (body.size() < historyAt) return result;
    // What follows the first NUL fills the field up.
    result.erase(std::find(result.begin() + static_cast<std::ptrdiff_t>(historyAt), result.end(), std::byte{}),
                 result.end());
    const auto add = [&](std::string_view text) {
        for (const char c : text)
            result.push_back(static_cast<std::byte>(c));
    };
    if (result.size() > historyAt && result.back() != std::byte{'\n'}) add("\r\n");
    add(line);
    add("\r\n");
    return result;
}

std::vector<std::byte> withDescriptionLine(std::span<const std::byte> body, std::string_view line) {
    std::vector<std::byte> result(body.begin(), body.end());
    if (body.size() < historyAt) return result;
    const auto before = textOf(body.first(descriptionBytes));
    const auto text = before + (before.empty() ? "" : "\r\n") + std::string(line);
    if (text.size() > descriptionBytes) return result;
    std::fill_n(result.begin(), descriptionBytes, std::byte{});
    std::transform(text.begin(), text.end(), result.begin(), [](char c) { return static_cast<std::byte>(c); });
    return result;
}

std::string codingHistoryLine(double sampleRate, int bits, bool isFloat, int channels, std::string_view text) {
    std::string line = "A=PCM,F=" + std::to_string(std::lround(sampleRate)) + ",W=" + std::to_string(bits) + ",M=" +
                       (channels == 1   ? "mono"
                        : channels == 2 ? "stereo"
                                        : "multi") +
                       ",T=";
    if (isFloat) line += "float; ";
    for (const char c : text)
        line += c == ',' ? ';' : c < 0x20 || c > 0x7e ? '?' : c;
    return line;
}

} // namespace spillwright
