#include "Media/DecodeKernels.h"

#include "Support/InstructionSets.h"

#include <catch2/catch.hpp>

#include <cstdint>
#include <vector>

using namespace spillwright;
using namespace spillwright::kernels;
using namespace spillwright::test;

TEST_CASE("samples of 16 and 24 bits are what they are worth, exactly, as far as they are decoded") {
    onEveryInstructionSet([&] {
        for (std::size_t count = 0; count < 40; ++count) {
            std::vector<std::byte> bytes16, bytes24;
            std::vector<float> worth16, worth24;
            for (std::size_t n = 0; n < count; ++n) {
                const std::int32_t ends[] = {-8388608, 8388607, -1, 0, 1, -256, 255};
                const std::int32_t value = n < 7 ? ends[n] : static_cast<std::int32_t>(n * 2654435761u) >> 8;
                for (int k = 0; k < 3; ++k)
                    bytes24.push_back(static_cast<std::byte>(value >> 8 * k));
                for (int k = 1; k < 3; ++k)
                    bytes16.push_back(static_cast<std::byte>(value >> 8 * k));
                worth24.push_back(static_cast<float>(value) / 8388608.0f);
                worth16.push_back(static_cast<float>(value >> 8) / 32768.0f);
            }
            std::vector<float> out(count);
            const std::size_t done16 = decodeLittle16(bytes16.data(), count, out.data());
            REQUIRE(done16 <= count);
            REQUIRE(std::vector(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(done16)) ==
                    std::vector(worth16.begin(), worth16.begin() + static_cast<std::ptrdiff_t>(done16)));
            const std::size_t done24 = decodeLittle24(bytes24.data(), count, out.data());
            REQUIRE(done24 <= count);
            REQUIRE(std::vector(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(done24)) ==
                    std::vector(worth24.begin(), worth24.begin() + static_cast<std::ptrdiff_t>(done24)));
        }
    });
    std::vector<std::byte> many(300);
    std::vector<float> out(100);
    CHECK(decodeLittle24(many.data(), 100, out.data()) > 84); // as it is said: fewer than 16 are left
    CHECK(decodeLittle16(many.data(), 100, out.data()) > 84);
}
