#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>

/// What is fed with arbitrary bytes: by libFuzzer (FuzzMain.cpp), and by the tests with what is kept of that
/// (ReplayTests.cpp). A target ends the program where a promise is broken, and returns otherwise.
namespace spillwright::fuzz {

using Bytes = std::span<const std::uint8_t>;

void audioFile(Bytes bytes); ///< One file, opened and read at several places.
void recording(
    Bytes bytes); ///< A folder of two files (the first two bytes: the length of the first), opened and rendered.
void broadcast(Bytes bytes);   ///< The body of a bext chunk.
void setting(Bytes bytes);     ///< A setting file; also read as a sources file.
void session(Bytes bytes);     ///< A session file.
void lesson(Bytes bytes);      ///< A lesson file.
void scene(Bytes bytes);       ///< A scene file.
void commandLine(Bytes bytes); ///< The words of a call, one a line, in a folder with a small recording.

struct Target {
    std::string_view name; ///< Of its folders in Corpus and Findings, too.
    void (*run)(Bytes);
};
inline constexpr std::array targets{Target{"audio", audioFile},     Target{"recording", recording},
                                    Target{"broadcast", broadcast}, Target{"setting", setting},
                                    Target{"session", session},     Target{"lesson", lesson},
                                    Target{"scene", scene},         Target{"command", commandLine}};

/// Ends the program where a promise is broken.
void require(bool kept, const char* promise);

/// A private folder in memory where there is such a place; gone when the program ends by itself.
const std::filesystem::path& sandbox();
void write(const std::filesystem::path& file, Bytes bytes);

inline std::string textOf(Bytes bytes) {
    return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

} // namespace spillwright::fuzz
