// What the fuzzer found, a choice of what it got through, and these with a few changes: each must be answered, and
// soon.

#include "Fuzz/Targets.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <chrono>
#include <fstream>
#include <iterator>
#include <map>
#include <random>
#include <set>
#include <string>
#include <vector>

using namespace spillwright::fuzz;
namespace fs = std::filesystem;

namespace {

const fs::path inputs = fs::path(SPILLWRIGHT_SOURCE_DIR) / "Tests" / "Fuzz";
constexpr auto longest = std::chrono::seconds(5);

using Input = std::vector<std::uint8_t>;

std::map<std::string, Input> inputsOf(const Target& target, const char* kind) {
    std::map<std::string, Input> found; // in an order of their own: the folder's differs from disk to disk
    std::error_code absent;
    for (fs::directory_iterator entry(inputs / kind / target.name, absent), end; !absent && entry != end; ++entry) {
        std::ifstream file(entry->path(), std::ios::binary);
        found[entry->path().string()] = Input{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
    }
    return found;
}

void isAnswered(const Target& target, const Input& input) {
    const auto begin = std::chrono::steady_clock::now();
    target.run(input);
    CHECK(std::chrono::steady_clock::now() - begin < longest);
}

/// One change as a slip or a knave may make it; the same for the same state of `random`.
void change(Input& input, const Input& other, std::mt19937& random) {
    constexpr std::array<std::uint32_t, 8> edges{0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF};
    const auto below = [&](std::size_t end) { return end == 0 ? 0 : static_cast<std::size_t>(random()) % end; };
    const auto place = [&](const Input& in) { return static_cast<std::ptrdiff_t>(below(in.size())); };
    if (input.empty()) return;
    const auto at = input.begin() + place(input);
    const auto length = static_cast<std::ptrdiff_t>(1 + below(16));
    const auto left = std::min(length, input.end() - at);
    switch (random() % 5) {
    case 0:
        *at = static_cast<std::uint8_t>(*at ^ 1u << random() % 8);
        break;
    case 1: { // a number at its edge
        auto number = edges[below(edges.size())];
        for (auto byte = at; byte < at + std::min<std::ptrdiff_t>(left, 4); ++byte, number >>= 8)
            *byte = static_cast<std::uint8_t>(number);
        break;
    }
    case 2:
        input.erase(at, at + left);
        break;
    case 3: // a digit more, or another
        input.insert(at, static_cast<std::uint8_t>('0' + random() % 10));
        break;
    default:
        if (const auto from = other.begin() + place(other); !other.empty())
            input.insert(at, from, from + std::min(length * 4, other.end() - from));
    }
}

/// What is kept, and `count` times one of these with a few changes.
void replay(std::string_view name, int count) {
    const auto& target = *std::find_if(targets.begin(), targets.end(), [&](auto& each) { return each.name == name; });
    std::vector<Input> all;
    for (const char* kind : {"Corpus", "Findings"})
        for (const auto& [file, input] : inputsOf(target, kind)) {
            INFO(file);
            isAnswered(target, input);
            all.push_back(input);
        }
    REQUIRE_FALSE(all.empty());
    std::mt19937 random(1);
    for (int k = 0; k < count; ++k) {
        INFO("change " << k);
        auto input = all[random() % all.size()];
        for (auto changes = 1 + random() % 4; changes > 0; --changes)
            change(input, all[random() % all.size()], random);
        isAnswered(target, input);
    }
}

} // namespace

// clang-format off
TEST_CASE("audio files of any bytes are answered") { replay("audio", 4000); }
TEST_CASE("recordings of any bytes are answered") { replay("recording", 250); }
TEST_CASE("bext chunks of any bytes are answered") { replay("broadcast", 4000); }
TEST_CASE("setting and sources files of any bytes are answered") { replay("setting", 3000); }
TEST_CASE("session files of any bytes are answered") { replay("session", 1000); }
TEST_CASE("lesson files of any bytes are answered") { replay("lesson", 2000); }
TEST_CASE("scene files of any bytes are answered") { replay("scene", 1000); }
TEST_CASE("any words of a call are answered") { replay("command", 60); }
// clang-format on

TEST_CASE("every folder of kept inputs belongs to a target") {
    std::set<std::string> known;
    for (const auto& target : targets)
        known.emplace(target.name);
    for (const char* kind : {"Corpus", "Findings"})
        for (const auto& entry : fs::directory_iterator(inputs / kind))
            CHECK(known.contains(entry.path().filename().string()));
}
