#include "Core/Propose/DualKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Propose/DualKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

#include <hwy/contrib/math/math-inl.h>

#include <algorithm>
#include <cmath>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;
using Lanes = hn::CappedTag<double, dualPadding>;

constexpr double never = 1e300;

void WavesAtLags(const LagTable& table, const double* c, std::size_t from, std::size_t to, std::size_t count,
                 double* later, double* earlier) {
    const Lanes d;
    const std::size_t step = hn::Lanes(d);
    const double* imaginary = c + table.width;
    for (std::size_t q = 0; q < count; q += 2 * step) {
        auto even0 = hn::Zero(d), odd0 = hn::Zero(d), even1 = hn::Zero(d), odd1 = hn::Zero(d);
        for (std::size_t k = from; k < to; ++k) {
            const double *cosines = table.cosines + k * table.lags + q, *sines = table.sines + k * table.lags + q;
            const auto a = hn::Set(d, c[k]), b = hn::Set(d, imaginary[k]);
            even0 = hn::MulAdd(a, hn::Load(d, cosines), even0);
            odd0 = hn::MulAdd(b, hn::Load(d, sines), odd0);
            even1 = hn::MulAdd(a, hn::Load(d, cosines + step), even1);
            odd1 = hn::MulAdd(b, hn::Load(d, sines + step), odd1);
        }
        hn::Store(hn::Add(even0, odd0), d, later + q);
        hn::Store(hn::Sub(even0, odd0), d, earlier + q);
        hn::Store(hn::Add(even1, odd1), d, later + q + step);
        hn::Store(hn::Sub(even1, odd1), d, earlier + q + step);
    }
}

/// Rows of the two sides of one pair: first 2 (worth - odd waves), then the difference of the shares of the signs;
/// first 2 even waves, then the shares' sum.
struct Sides {
    double *odd[2], *even[2];
};

HWY_INLINE double Largest(const Sides& sides, std::size_t rows, double notSame, double notOpposite) {
    const Lanes d;
    const auto same = hn::Set(d, notSame), opposite = hn::Set(d, notOpposite);
    auto most = hn::Set(d, -never);
    for (int side = 0; side < 2; ++side)
        for (std::size_t q = 0; q < rows; q += hn::Lanes(d)) {
            const auto a = hn::Load(d, sides.odd[side] + q), b = hn::Load(d, sides.even[side] + q);
            most = hn::Max(most, hn::Sub(hn::Max(hn::Sub(a, same), hn::Sub(hn::Neg(a), opposite)), b));
        }
    return hn::GetLane(hn::MaxOfLanes(d, most));
}

/// Turns values into unscaled shares; active[q / 8]: whether any of the eight has one. Returns their sum.
HWY_INLINE double Shares(const Sides& sides, std::size_t rows, double notSame, double notOpposite, double most,
                         double mu, double* active) {
    const Lanes d;
    const auto same = hn::Set(d, notSame + most), opposite = hn::Set(d, notOpposite + most);
    const auto scale = hn::Set(d, 1.0 / mu), least = hn::Set(d, -25.0);
    auto sum = hn::Zero(d);
    for (std::size_t block = 0; block < rows; block += dualPadding) {
        bool any = false;
        for (int side = 0; side < 2; ++side)
            for (std::size_t q = block; q < block + dualPadding; q += hn::Lanes(d)) {
                const auto a = hn::Load(d, sides.odd[side] + q), b = hn::Load(d, sides.even[side] + q);
                const auto x = hn::Mul(scale, hn::Sub(hn::Sub(a, same), b));
                const auto y = hn::Mul(scale, hn::Sub(hn::Sub(hn::Neg(a), opposite), b));
                auto difference = hn::Zero(d), both = hn::Zero(d);
                if (!hn::AllFalse(d, hn::Gt(hn::Max(x, y), least))) {
                    any = true;
                    // None that are smaller than rounding, which would only slow down what follows.
                    const auto p = hn::IfThenElseZero(hn::Gt(x, least), hn::Exp(d, hn::Max(x, least)));
                    const auto o = hn::IfThenElseZero(hn::Gt(y, least), hn::Exp(d, hn::Max(y, least)));
                    difference = hn::Sub(p, o);
                    both = hn::Add(p, o);
                    sum = hn::Add(sum, both);
                }
                hn::Store(difference, d, sides.odd[side] + q);
                hn::Store(both, d, sides.even[side] + q);
            }
        active[block / dualPadding] = any ? 1.0 : 0.0;
    }
    return hn::GetLane(hn::SumOfLanes(d, sum));
}

/// c turned by the pair's middle, or back.
HWY_INLINE void Turn(const PairLags& pair, const double* c, bool back, double* turned) {
    const Lanes d;
    const std::size_t width = pair.table->width;
    for (std::size_t k = 0; k < width; k += hn::Lanes(d)) {
        const auto a = hn::Load(d, c + k), b = hn::Load(d, c + width + k);
        const auto p = hn::Load(d, pair.turns + k), whole = hn::Load(d, pair.turns + width + k);
        const auto q = back ? hn::Neg(whole) : whole;
        hn::Store(hn::NegMulAdd(b, q, hn::Mul(a, p)), d, turned + k);
        hn::Store(hn::MulAdd(a, q, hn::Mul(b, p)), d, turned + width + k);
    }
}

double SoftestMax(const PairLags& pair, const double* c, double mu, double* room, double* gradient) {
    const Lanes d;
    const auto& table = *pair.table;
    double* turned = room + 5 * table.lags;
    Turn(pair, c, false, turned);
    const std::size_t rows = (pair.count + dualPadding - 1) / dualPadding * dualPadding;
    const Sides sides{{room, room + table.lags}, {room + 2 * table.lags, room + 3 * table.lags}};
    double* active = room + 4 * table.lags;
    WavesAtLags(table, turned, 0, table.oddCount, pair.count, sides.odd[0], sides.odd[1]);
    WavesAtLags(table, turned, table.evenFrom, table.evenFrom + table.evenCount, pair.count, sides.even[0],
                sides.even[1]);
    const auto two = hn::Set(d, 2.0);
    for (int side = 0; side < 2; ++side) {
        const double* worth = side == 0 ? pair.later : pair.earlier;
        for (std::size_t q = 0; q < rows; q += hn::Lanes(d)) {
            hn::Store(hn::Mul(two, hn::Sub(hn::Load(d, worth + q), hn::Load(d, sides.odd[side] + q))), d,
                      sides.odd[side] + q);
            hn::Store(hn::Mul(two, hn::Load(d, sides.even[side] + q)), d, sides.even[side] + q);
        }
        for (std::size_t q = pair.count; q < rows; ++q)
            sides.even[side][q] = never;
    }
    if (pair.middleCounts) sides.even[1][0] = never; // once
    const double notSame = pair.same ? 0.0 : never, notOpposite = pair.opposite ? 0.0 : never;
    const double most = Largest(sides, rows, notSame, notOpposite);
    const double sum = Shares(sides, rows, notSame, notOpposite, most, mu, active);

    const auto scale = hn::Set(d, -2.0 / sum);
    for (std::size_t k = 0; k < table.width; k += hn::Lanes(d)) {
        const double* const* shares = k < table.evenFrom ? sides.odd : sides.even;
        auto re = hn::Zero(d), im = hn::Zero(d);
        for (std::size_t block = 0; block < rows; block += dualPadding) {
            if (active[block / dualPadding] == 0.0) continue;
            for (std::size_t q = block; q < block + dualPadding; ++q) {
                const double later = shares[0][q], earlier = shares[1][q];
                re = hn::MulAdd(hn::Set(d, later + earlier), hn::Load(d, table.lagCosines + q * table.width + k), re);
                im = hn::MulAdd(hn::Set(d, later - earlier), hn::Load(d, table.lagSines + q * table.width + k), im);
            }
        }
        hn::Store(hn::Mul(scale, re), d, turned + k);
        hn::Store(hn::Mul(scale, im), d, turned + table.width + k);
    }
    Turn(pair, turned, true, gradient);
    return most + mu * std::log(sum);
}

HWY_INLINE std::size_t TriangleAt(int row, int column) {
    return 2 * dualPadding * (static_cast<std::size_t>(row) * (row + 1) / 2 + column);
}

/// The frequencies of one vector: factor L with 1 / L_ii on its diagonal.
HWY_INLINE bool Factor(int n, const double* c, const double* y, std::size_t width, double* factor, double* diagonal) {
    const Lanes d;
    for (int i = 0; i < n; ++i) {
        for (int j = 0; j < i; ++j) { // element (i, j) of -C is -conj(C_ji)
            const double* element = c + 2 * width * (static_cast<std::size_t>(i) * (i - 1) / 2 + j);
            auto re = hn::Neg(hn::Load(d, element)), im = hn::Load(d, element + width);
            for (int k = 0; k < j; ++k) {
                const double *left = factor + TriangleAt(i, k), *right = factor + TriangleAt(j, k);
                const auto a = hn::Load(d, left), b = hn::Load(d, left + dualPadding);
                const auto p = hn::Load(d, right), q = hn::Load(d, right + dualPadding);
                re = hn::NegMulAdd(a, p, hn::NegMulAdd(b, q, re));
                im = hn::MulAdd(a, q, hn::NegMulAdd(b, p, im));
            }
            const auto scale = hn::Load(d, factor + TriangleAt(j, j));
            hn::Store(hn::Mul(re, scale), d, factor + TriangleAt(i, j));
            hn::Store(hn::Mul(im, scale), d, factor + TriangleAt(i, j) + dualPadding);
        }
        auto rest = hn::Load(d, y + static_cast<std::size_t>(i) * width);
        for (int k = 0; k < i; ++k) {
            const double* left = factor + TriangleAt(i, k);
            const auto a = hn::Load(d, left), b = hn::Load(d, left + dualPadding);
            rest = hn::NegMulAdd(a, a, hn::NegMulAdd(b, b, rest));
        }
        if (!hn::AllTrue(d, hn::Gt(rest, hn::Zero(d)))) return false;
        const auto root = hn::Sqrt(rest);
        hn::Store(root, d, diagonal + static_cast<std::size_t>(i) * dualPadding);
        hn::Store(hn::Div(hn::Set(d, 1.0), root), d, factor + TriangleAt(i, i));
        hn::Store(hn::Zero(d), d, factor + TriangleAt(i, i) + dualPadding);
    }
    return true;
}

/// X = 1/L, lower too.
HWY_INLINE void InvertFactor(int n, const double* factor, double* inverse) {
    const Lanes d;
    for (int i = 0; i < n; ++i) {
        const auto scale = hn::Load(d, factor + TriangleAt(i, i));
        hn::Store(scale, d, inverse + TriangleAt(i, i));
        hn::Store(hn::Zero(d), d, inverse + TriangleAt(i, i) + dualPadding);
        for (int j = 0; j < i; ++j) {
            auto re = hn::Zero(d), im = hn::Zero(d);
            for (int k = j; k < i; ++k) {
                const double *left = factor + TriangleAt(i, k), *right = inverse + TriangleAt(k, j);
                const auto a = hn::Load(d, left), b = hn::Load(d, left + dualPadding);
                const auto p = hn::Load(d, right), q = hn::Load(d, right + dualPadding);
                re = hn::NegMulAdd(a, p, hn::MulAdd(b, q, re));
                im = hn::NegMulAdd(a, q, hn::NegMulAdd(b, p, im));
            }
            hn::Store(hn::Mul(re, scale), d, inverse + TriangleAt(i, j));
            hn::Store(hn::Mul(im, scale), d, inverse + TriangleAt(i, j) + dualPadding);
        }
    }
}

/// Element (j, i) of X^H X, i <= j.
HWY_INLINE void SquareOf(int n, const double* x, double* inverse) {
    const Lanes d;
    for (int j = 0; j < n; ++j)
        for (int i = 0; i <= j; ++i) {
            auto re = hn::Zero(d), im = hn::Zero(d);
            for (int k = j; k < n; ++k) {
                const double *left = x + TriangleAt(k, j), *right = x + TriangleAt(k, i);
                const auto a = hn::Load(d, left), b = hn::Load(d, left + dualPadding);
                const auto p = hn::Load(d, right), q = hn::Load(d, right + dualPadding);
                re = hn::MulAdd(a, p, hn::MulAdd(b, q, re));
                im = hn::MulAdd(a, q, hn::NegMulAdd(b, p, im));
            }
            hn::Store(re, d, inverse + TriangleAt(j, i));
            hn::Store(im, d, inverse + TriangleAt(j, i) + dualPadding);
        }
}

bool FactorDual(int n, const double* c, const double* y, std::size_t width, double* room, double* diagonal,
                double* inverse) {
    const Lanes d;
    double* inverted = room + TriangleAt(n, 0);
    for (std::size_t lane = 0; lane < dualPadding; lane += hn::Lanes(d)) {
        if (!Factor(n, c + lane, y + lane, width, room + lane, diagonal + lane)) return false;
        if (inverse == nullptr) continue;
        InvertFactor(n, room + lane, inverted + lane);
        SquareOf(n, inverted + lane, inverse + lane);
    }
    return true;
}

double Dot(const double* a, const double* b, std::size_t count) {
    const Lanes d;
    const std::size_t step = hn::Lanes(d);
    auto even = hn::Zero(d), odd = hn::Zero(d);
    std::size_t i = 0;
    for (; i + 2 * step <= count; i += 2 * step) {
        even = hn::MulAdd(hn::Load(d, a + i), hn::Load(d, b + i), even);
        odd = hn::MulAdd(hn::Load(d, a + i + step), hn::Load(d, b + i + step), odd);
    }
    double sum = hn::GetLane(hn::SumOfLanes(d, hn::Add(even, odd)));
    for (; i < count; ++i)
        sum += a[i] * b[i];
    return sum;
}

void AddScaled(double scale, const double* x, std::size_t count, double* to) {
    const Lanes d;
    const auto by = hn::Set(d, scale);
    std::size_t i = 0;
    for (; i + hn::Lanes(d) <= count; i += hn::Lanes(d))
        hn::Store(hn::MulAdd(by, hn::Load(d, x + i), hn::Load(d, to + i)), d, to + i);
    for (; i < count; ++i)
        to[i] += scale * x[i];
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(WavesAtLags);
HWY_EXPORT(SoftestMax);
HWY_EXPORT(FactorDual);
HWY_EXPORT(Dot);
HWY_EXPORT(AddScaled);

void wavesAtLags(const LagTable& table, const double* c, std::size_t from, std::size_t to, std::size_t count,
                 double* later, double* earlier) {
    HWY_DYNAMIC_DISPATCH(WavesAtLags)(table, c, from, to, count, later, earlier);
}

double softestMax(const PairLags& pair, const double* c, double mu, double* room, double* gradient) {
    return HWY_DYNAMIC_DISPATCH(SoftestMax)(pair, c, mu, room, gradient);
}

bool factorDual(int n, const double* c, const double* y, std::size_t width, double* room, double* diagonal,
                double* inverse) {
    return HWY_DYNAMIC_DISPATCH(FactorDual)(n, c, y, width, room, diagonal, inverse);
}

double dot(const double* a, const double* b, std::size_t count) {
    return HWY_DYNAMIC_DISPATCH(Dot)(a, b, count);
}

void addScaled(double scale, const double* x, std::size_t count, double* to) {
    HWY_DYNAMIC_DISPATCH(AddScaled)(scale, x, count, to);
}

} // namespace spillwright::kernels
#endif
