#pragma once

#include <cstddef>

/// The inner loops of the dual bound, compiled for several instruction sets and chosen at run time.
namespace spillwright::kernels {

/// Frequencies are padded to whole multiples of this, those that carry the sign and those that do not each by
/// themselves. All rows are aligned to 64 bytes.
inline constexpr std::size_t dualPadding = 8;
/// Rows of lags are padded to whole multiples of this.
inline constexpr std::size_t lagPadding = 16;

/// Cosines and sines of frequencies k at lags (q + 1/2 or 0) h.
struct LagTable {
    const double *cosines = nullptr, *sines = nullptr;       ///< [k][lags]
    const double *lagCosines = nullptr, *lagSines = nullptr; ///< [q][width]
    std::size_t lags = 0;                                    ///< Padded.
    std::size_t width = 0;                                   ///< Frequencies, padded; evenFrom too.
    std::size_t evenFrom = 0;                                ///< The first that does not carry the sign.
    std::size_t oddCount = 0, evenCount = 0;                 ///< Without padding.
};

/// Lags of one pair, symmetric about the middle of its range.
struct PairLags {
    const LagTable* table = nullptr;
    std::size_t count = 0;                             ///< Lags on either side, without padding.
    bool middleCounts = false;                         ///< Lag 0 is the first of both sides.
    const double *later = nullptr, *earlier = nullptr; ///< What the pair is worth at +lag and -lag, s = +1.
    const double* turns = nullptr;                     ///< exp(-j omega_k middle): [real, imaginary][width].
    bool same = true, opposite = true;                 ///< Which products of the two signs there are.
};

/// Re sum of c_k exp(-j omega_k lag) over k = from..to-1 at +lag and at -lag. c: real parts [width], then imaginary
/// ones.
void wavesAtLags(const LagTable& table, const double* c, std::size_t from, std::size_t to, std::size_t count,
                 double* later, double* earlier);

/// mu log sum exp(v / mu) of v(s, lag) = 2 s (worth - odd waves of c) - 2 even waves of c, and its gradient by c.
/// room: five rows of table.lags and two of table.width.
double softestMax(const PairLags& pair, const double* c, double mu, double* room, double* gradient);

/// Diag(y) - C for eight frequencies at once, C Hermitian with zero diagonal: its Cholesky factor and its inverse.
/// c: [i < j at j (j - 1) / 2 + i][real, imaginary][width], y: [unit][width], both at the first of the eight.
/// room: 4 n (n + 1) / 2 rows of eight. diagonal: [n][8], of the factor. False: not positive definite.
/// inverse (null: not wanted): [i <= j at j (j + 1) / 2 + i][real, imaginary][8], element (j, i).
bool factorDual(int n, const double* c, const double* y, std::size_t width, double* room, double* diagonal,
                double* inverse);

/// Sum of a[i] b[i]. Aligned, as below.
double dot(const double* a, const double* b, std::size_t count);
/// to[i] += scale x[i].
void addScaled(double scale, const double* x, std::size_t count, double* to);

} // namespace spillwright::kernels
