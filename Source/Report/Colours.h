#pragma once

#include <array>
#include <cstdint>
#include <cstdio>
#include <string>

/// The light colours of everything that is drawn, in the window and on paper, 0xRRGGBB. What adds and what cancels is
/// never told by colour alone: a sign or a word stands beside it.
namespace spillwright::colours {

inline constexpr std::uint32_t paper = 0xfaf7f0;    ///< The ground of everything.
inline constexpr std::uint32_t raised = 0xfffdf8;   ///< Cards, plots, fields.
inline constexpr std::uint32_t selected = 0xf0eadc; ///< The chosen row, the band in a plot.
inline constexpr std::uint32_t ink = 0x22252b;
inline constexpr std::uint32_t muted = 0x625e54; ///< Second-rank text.
inline constexpr std::uint32_t rules = 0xd8d2c4; ///< Lines that part things; never text.
inline constexpr std::uint32_t accent = 0x0f6b66;
inline constexpr std::uint32_t adds = 0x1f5fa8;
inline constexpr std::uint32_t cancels = 0xb4520e;

/// "#0f6b66"
inline std::string hex(std::uint32_t rgb) {
    std::array<char, 16> text{};
    std::snprintf(text.data(), text.size(), "#%06x", static_cast<unsigned>(rgb));
    return text.data();
}

} // namespace spillwright::colours
