#pragma once

#include "Demo/Players.h"

#include <chrono>
#include <cstdio>
#include <filesystem>
#include <optional>
#include <string>

namespace spillwright::bench {

inline double secondsSince(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

/// How many, and how many of them right.
struct Count {
    int all = 0, right = 0;
    void add(bool isRight) {
        ++all;
        right += isRight ? 1 : 0;
    }
    void add(const Count& other) {
        all += other.all;
        right += other.right;
    }
    std::string text() const { return std::to_string(right) + " of " + std::to_string(all); }
    double percent() const { return all > 0 ? 100.0 * right / all : 100.0; }
};

/// The sound bank that the benches' players are taken from; where there is none, that is said.
inline std::optional<std::filesystem::path> benchSoundBank() {
    const auto folders = soundBankFolders();
    auto bank = findSoundBank("MuseScore_General_Lite.sf3", folders);
    if (bank) return std::move(bank).value();
    std::fprintf(stderr, "%s\n", bank.fault().line().c_str());
    return std::nullopt;
}

} // namespace spillwright::bench
