#pragma once

#include <array>
#include <cstdint>
#include <vector>

namespace spillwright {

/// All settings of some signs in fixed point: 64 of them side by side (every combination of six signs, the lanes), and
/// from one such row to the next one further sign flips, in Gray-code order. Whole numbers do not drift, however long
/// the walk.
///
///     energy(s) = sum over i<j of c_ij s_i s_j + sum of b_i s_i
///
/// Flipping sign k changes it by -2 s_k (a_k + t_k), a_k from the walking signs and b, t_k from the lanes' own signs.
/// All energies and twice all fields stay within 32 bits.
struct GrayWalk {
    static constexpr int laneBits = 6;
    static constexpr int lanes = 1 << laneBits;
    using Row = std::array<std::int32_t, lanes>;

    int walking = 0;                    ///< Signs that walk; all start at +1.
    std::vector<std::int32_t> coupling; ///< walking x walking, zero diagonal.
    std::vector<std::int32_t> field;    ///< a_k at the start without the walking signs' part.
    std::vector<Row> twiceLaneField;    ///< 2 t_k.
    Row start{};                        ///< Energies with all walking signs at +1.
};

/// The largest energy of the whole walk. 2^walking rows; allocates.
std::int32_t largestEnergy(const GrayWalk& walk);

/// The walk step by step: the sign that flips and what its flip adds to every lane besides the lanes' own part.
class GrayStepper {
public:
    explicit GrayStepper(const GrayWalk& w);
    std::uint32_t steps() const { return (std::uint32_t(1) << walk.walking) - 1; }

    struct Step {
        int sign;            ///< Which walking sign flips.
        bool wasPositive;    ///< It goes from +1 to -1.
        std::int32_t common; ///< -2 s_k a_k.
    };
    /// The step-th flip, 1..steps(), in order.
    Step next(std::uint32_t step);
    std::uint32_t negative() const { return negativeSigns; } ///< Bit k: walking sign k is -1 now.

private:
    const GrayWalk& walk;
    std::vector<std::int32_t> fields;
    std::uint32_t negativeSigns = 0;
};

} // namespace spillwright
