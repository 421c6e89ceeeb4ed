#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// What a person may want of the bext chunk of a broadcast wave file (EBU Tech 3285, version 2): texts as they stand,
/// without what fills their fields.
struct BroadcastExtension {
    std::string description;   ///< At most 256 bytes.
    std::string originator;    ///< At most 32.
    std::string date;          ///< "2026-05-14": year, month and day with whatever stands between them; at most 10.
    std::string time;          ///< "20:31:07"; at most 8.
    std::string codingHistory; ///< Any length: a line for each coding that the sound went through.

    /// All is empty of a body that is shorter than the fields.
    static BroadcastExtension of(std::span<const std::byte> body);
};

/// The body with one more line at the end of its coding history, which is the field that the standard has for what was
/// done to the sound; every other byte stays. Lines end with CR and LF; one that an earlier program left open is closed
/// first. A body shorter than the fields stays as it is.
std::vector<std::byte> withCodingHistory(std::span<const std::byte> body, std::string_view line);

/// The body with one more line at the end of its description, where the field's 256 bytes have room for all of it: the
/// text that is there is the recordist's and is never cut. Every other byte stays.
std::vector<std::byte> withDescriptionLine(std::span<const std::byte> body, std::string_view line);

/// One line of a coding history: "A=PCM,F=48000,W=24,M=mono,T=...". The text has no room for commas, nor for what is
/// not printable ASCII: these become semicolons and question marks.
std::string codingHistoryLine(double sampleRate, int bits, bool isFloat, int channels, std::string_view text);

} // namespace spillwright
