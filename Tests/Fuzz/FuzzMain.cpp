// The program that libFuzzer drives: spillwright_fuzz --target=NAME [its own options] FOLDER...

#include "Fuzz/Targets.h"

#include <cstdio>
#include <cstdlib>

using namespace spillwright::fuzz;

namespace {
const Target* chosen = nullptr;
}

extern "C" int LLVMFuzzerInitialize(int* count, char*** words) {
    constexpr std::string_view option = "--target=";
    for (int k = 1; k < *count; ++k) {
        const std::string_view word = (*words)[k];
        if (!word.starts_with(option)) continue;
        for (const auto& target : targets)
            if (target.name == word.substr(option.size())) chosen = &target;
    }
    if (chosen) return 0;
    std::fputs("spillwright_fuzz: no target is named; add --target= and one of", stderr);
    for (const auto& target : targets)
        std::fprintf(stderr, " %s", std::string(target.name).c_str());
    std::fputs("\n", stderr);
    std::exit(2);
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    chosen->run({data, size});
    return 0;
}
