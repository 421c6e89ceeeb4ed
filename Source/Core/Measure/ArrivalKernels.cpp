#include "Core/Measure/ArrivalKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Measure/ArrivalKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

#include <algorithm>
#include <cmath>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

using Floats = hn::ScalableTag<float>;
using Doubles = hn::ScalableTag<double>;
using One = hn::CappedTag<float, 1>;
using Narrow = hn::Rebind<float, Doubles>; // as many floats as a vector has doubles

/// A number scaled by a power of two to where its square is safe: the larger part is then within 1..2.
template <class D>
struct Scaled {
    hn::Vec<D> x, y, squared, unscale;
    hn::Mask<D> sounds;
    HWY_INLINE Scaled(D d, hn::Vec<D> re, hn::Vec<D> im) {
        const hn::RebindToUnsigned<D> u;
        const auto larger = hn::Max(hn::Abs(re), hn::Abs(im));
        const auto exponent = hn::And(hn::BitCast(u, larger), hn::Set(u, 0x7f800000u));
        const auto scale = hn::BitCast(d, hn::Sub(hn::Set(u, 0x7f000000u), exponent));
        sounds = hn::Gt(larger, hn::Set(d, 1e-30f));
        unscale = hn::BitCast(d, exponent);
        x = hn::Mul(re, scale);
        y = hn::Mul(im, scale);
        squared = hn::MulAdd(x, x, hn::Mul(y, y));
    }
};

template <class D>
HWY_INLINE void ConjugatePhasorsAt(D d, const float* cross, float* re, float* im, float* magnitudes) {
    hn::Vec<D> x, y;
    hn::LoadInterleaved2(d, cross, x, y);
    const Scaled<D> s(d, x, y);
    const auto root = hn::Sqrt(s.squared);
    const auto unit = hn::IfThenElseZero(s.sounds, hn::Div(hn::Set(d, 1.0f), root));
    hn::StoreU(hn::Mul(s.x, unit), d, re);
    hn::StoreU(hn::Neg(hn::Mul(s.y, unit)), d, im);
    hn::StoreU(hn::IfThenElseZero(s.sounds, hn::Mul(root, s.unscale)), d, magnitudes);
}

void ConjugatePhasors(const std::complex<float>* cross, std::size_t count, float* re, float* im, float* magnitudes) {
    const Floats d;
    const auto* parts = reinterpret_cast<const float*>(cross);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d))
        ConjugatePhasorsAt(d, parts + 2 * k, re + k, im + k, magnitudes + k);
    for (; k < count; ++k)
        ConjugatePhasorsAt(One(), parts + 2 * k, re + k, im + k, magnitudes + k);
}

template <class D>
HWY_INLINE void CoherencesAt(D d, const float* cross, const float* a, const float* b, float* magnitudes,
                             float* coherence) {
    hn::Vec<D> x, y;
    hn::LoadInterleaved2(d, cross, x, y);
    const Scaled<D> s(d, x, y);
    const auto magnitude = hn::IfThenElseZero(s.sounds, hn::Mul(hn::Sqrt(s.squared), s.unscale));
    const auto first = hn::LoadU(d, a), second = hn::LoadU(d, b);
    const auto both = hn::And(hn::Gt(first, hn::Zero(d)), hn::Gt(second, hn::Zero(d)));
    const auto share = hn::Mul(hn::Div(magnitude, first), hn::Div(magnitude, second));
    hn::StoreU(magnitude, d, magnitudes);
    hn::StoreU(hn::IfThenElse(both, hn::Min(share, hn::Set(d, 1.0f)), hn::Set(d, -1.0f)), d, coherence);
}

void Coherences(const std::complex<float>* cross, const float* a, const float* b, std::size_t count, float* magnitudes,
                float* coherence) {
    const Floats d;
    const auto* parts = reinterpret_cast<const float*>(cross);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d))
        CoherencesAt(d, parts + 2 * k, a + k, b + k, magnitudes + k, coherence + k);
    for (; k < count; ++k)
        CoherencesAt(One(), parts + 2 * k, a + k, b + k, magnitudes + k, coherence + k);
}

void Weigh(const float* re, const float* im, const float* weights, std::size_t count, std::complex<float>* out) {
    const Floats d;
    auto* parts = reinterpret_cast<float*>(out);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d)) {
        const auto weight = hn::LoadU(d, weights + k);
        hn::StoreInterleaved2(hn::Mul(weight, hn::LoadU(d, re + k)), hn::Mul(weight, hn::LoadU(d, im + k)), d,
                              parts + 2 * k);
    }
    for (; k < count; ++k)
        out[k] = {weights[k] * re[k], weights[k] * im[k]};
}

template <class D>
HWY_INLINE void DoubleRateAt(D d, const float* values, const float* taps, float* out) {
    auto sum = hn::Zero(d);
    for (int k = 0; k < doublingReach; ++k)
        sum = hn::MulAdd(hn::Set(d, taps[k]), hn::Add(hn::LoadU(d, values - k), hn::LoadU(d, values + 1 + k)), sum);
    hn::StoreInterleaved2(hn::LoadU(d, values), sum, d, out);
}

void DoubleRate(const float* values, std::size_t count, const float* taps, float* out) {
    const Floats d;
    std::size_t n = 0;
    for (; n + hn::Lanes(d) <= count; n += hn::Lanes(d))
        DoubleRateAt(d, values + n, taps, out + 2 * n);
    for (; n < count; ++n)
        DoubleRateAt(One(), values + n, taps, out + 2 * n);
}

std::size_t FirstReaching(const float* values, std::size_t count, float sign, float least) {
    const Floats d;
    const auto side = hn::Set(d, sign), from = hn::Set(d, least);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d)) {
        const auto found = hn::FindFirstTrue(d, hn::Ge(hn::Mul(side, hn::LoadU(d, values + k)), from));
        if (found >= 0) return k + static_cast<std::size_t>(found);
    }
    while (k < count && !(sign * values[k] >= least))
        ++k;
    return k;
}

std::size_t PlaceOfLargest(const float* values, std::size_t count, float sign) {
    const Floats d;
    const auto side = hn::Set(d, sign);
    auto largest = hn::Set(d, sign * values[0]);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d))
        largest = hn::Max(largest, hn::Mul(side, hn::LoadU(d, values + k)));
    float top = hn::GetLane(hn::MaxOfLanes(d, largest));
    for (; k < count; ++k)
        top = HWY_MAX(top, sign * values[k]);
    return FirstReaching(values, count, sign, top);
}

template <class D>
HWY_INLINE std::size_t LocalPeaksAt(D d, const float* values, std::size_t place, std::uint32_t* places) {
    const hn::RebindToUnsigned<D> u;
    const auto here = hn::LoadU(d, values + place);
    const auto side = hn::And(here, hn::Set(d, -0.0f));
    const auto height = hn::Abs(here);
    const auto before = hn::Xor(side, hn::LoadU(d, values + place - 1)),
               after = hn::Xor(side, hn::LoadU(d, values + place + 1));
    const auto peak = hn::And(hn::Gt(height, hn::Zero(d)), hn::And(hn::Gt(height, before), hn::Ge(height, after)));
    return hn::CompressStore(hn::Iota(u, static_cast<std::uint32_t>(place)), hn::RebindMask(u, peak), u, places);
}

std::size_t LocalPeaks(const float* values, std::size_t count, std::uint32_t* places) {
    const Floats d;
    std::size_t k = 0, found = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d))
        found += LocalPeaksAt(d, values, k, places + found);
    for (; k < count; ++k)
        found += LocalPeaksAt(One(), values, k, places + found);
    return found;
}

/// e^{j angle} of as many bins as a vector has lanes, turning on by as many at each step.
struct Turning {
    hn::Vec<Doubles> re, im, strideRe, strideIm;

    explicit Turning(Turn turn) {
        const Doubles d;
        HWY_ALIGN double c[hn::MaxLanes(Doubles())];
        HWY_ALIGN double s[hn::MaxLanes(Doubles())];
        const double stepRe = std::cos(turn.step), stepIm = std::sin(turn.step);
        c[0] = std::cos(turn.first);
        s[0] = std::sin(turn.first);
        for (std::size_t lane = 1; lane < hn::Lanes(d); ++lane) {
            c[lane] = c[lane - 1] * stepRe - s[lane - 1] * stepIm;
            s[lane] = c[lane - 1] * stepIm + s[lane - 1] * stepRe;
        }
        const double stride = turn.step * static_cast<double>(hn::Lanes(d));
        re = hn::Load(d, c);
        im = hn::Load(d, s);
        strideRe = hn::Set(d, std::cos(stride));
        strideIm = hn::Set(d, std::sin(stride));
    }
    HWY_INLINE void onward() {
        const auto turned = hn::NegMulAdd(im, strideIm, hn::Mul(re, strideRe));
        im = hn::MulAdd(im, strideRe, hn::Mul(re, strideIm));
        re = turned;
    }
    /// (x + jy) times these.
    HWY_INLINE hn::Vec<Doubles> turnedRe(hn::Vec<Doubles> x, hn::Vec<Doubles> y) const {
        return hn::NegMulAdd(y, im, hn::Mul(x, re));
    }
    HWY_INLINE hn::Vec<Doubles> turnedIm(hn::Vec<Doubles> x, hn::Vec<Doubles> y) const {
        return hn::MulAdd(y, re, hn::Mul(x, im));
    }
};

/// The whole vectors of a row, then the rest with zeros beyond it.
template <class Each>
HWY_INLINE void eachVector(std::size_t count, Each&& each) {
    const std::size_t lanes = hn::Lanes(Doubles());
    std::size_t k = 0;
    for (; k + lanes <= count; k += lanes)
        each(k, lanes);
    if (k < count) each(k, count - k);
}

/// The first `count` lanes, fewer than all, zeros in the others; nothing beyond them is read. Instruction sets without
/// masked loads get a copy: there Highway 1.0 reads the whole vector, and wants it aligned, before it masks.
template <class D>
HWY_INLINE hn::Vec<D> LoadFirst(D d, const hn::TFromD<D>* from, std::size_t count) {
#if HWY_CAP_GE256
    return hn::MaskedLoad(hn::FirstN(d, count), d, from);
#else
    HWY_ALIGN hn::TFromD<D> lanes[hn::MaxLanes(D())] = {};
    std::copy_n(from, count, lanes);
    return hn::Load(d, lanes);
#endif
}

HWY_INLINE hn::Vec<Doubles> LoadPromoted(const float* from, std::size_t count) {
    const Doubles d;
    const Narrow narrow;
    return hn::PromoteTo(d, count == hn::Lanes(d) ? hn::LoadU(narrow, from) : LoadFirst(narrow, from, count));
}

HWY_INLINE hn::Vec<Doubles> LoadSome(const double* from, std::size_t count) {
    const Doubles d;
    return count == hn::Lanes(d) ? hn::LoadU(d, from) : LoadFirst(d, from, count);
}

HWY_INLINE void StoreSome(hn::Vec<Doubles> v, double* to, std::size_t count) {
    const Doubles d;
    if (count == hn::Lanes(d))
        hn::StoreU(v, d, to);
    else
        hn::BlendedStore(v, hn::FirstN(d, count), d, to);
}

void TurnPhasors(const float* re, const float* im, std::size_t count, Turn turn, double* turnedRe, double* turnedIm) {
    Turning turning(turn);
    eachVector(count, [&](std::size_t k, std::size_t some) {
        const auto x = LoadPromoted(re + k, some), y = LoadPromoted(im + k, some);
        StoreSome(turning.turnedRe(x, y), turnedRe + k, some);
        StoreSome(turning.turnedIm(x, y), turnedIm + k, some);
        turning.onward();
    });
}

TurnedSums SumTurned(const float* re, const float* im, const double* weights, const double* omega, std::size_t count,
                     Turn turn) {
    const Doubles d;
    Turning turning(turn);
    auto value = hn::Zero(d), slope = hn::Zero(d), bend = hn::Zero(d);
    eachVector(count, [&](std::size_t k, std::size_t some) {
        const auto x = LoadPromoted(re + k, some), y = LoadPromoted(im + k, some);
        const auto w = LoadSome(omega + k, some);
        const auto along = hn::Mul(LoadSome(weights + k, some), turning.turnedRe(x, y));
        const auto across = hn::Mul(LoadSome(weights + k, some), turning.turnedIm(x, y));
        value = hn::Add(value, along);
        slope = hn::NegMulAdd(w, across, slope);
        bend = hn::NegMulAdd(hn::Mul(w, w), along, bend);
        turning.onward();
    });
    return {hn::GetLane(hn::SumOfLanes(d, value)), hn::GetLane(hn::SumOfLanes(d, slope)),
            hn::GetLane(hn::SumOfLanes(d, bend))};
}

template <class D>
HWY_INLINE void CoherenceStepsAt(D d, const float* values, float limit, float bias, std::int32_t* steps) {
    const auto value = hn::LoadU(d, values), left = hn::Sub(hn::Set(d, 1.0f), value);
    const auto unbiased = hn::NegMulAdd(hn::Mul(left, left), hn::Set(d, bias), value);
    const auto kept = hn::IfThenZeroElse(hn::Lt(value, hn::Set(d, limit)), hn::Max(hn::Zero(d), unbiased));
    const hn::RebindToSigned<D> whole;
    hn::StoreU(hn::NearestInt(hn::Mul(kept, hn::Set(d, static_cast<float>(runningUnit)))), whole, steps);
}

void RunningCoherence(const float* values, std::size_t count, double limit, double bias, std::int32_t* running) {
    const Floats d;
    const auto least = static_cast<float>(limit), ofLeft = static_cast<float>(bias);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d))
        CoherenceStepsAt(d, values + k, least, ofLeft, running + 1 + k);
    for (; k < count; ++k)
        CoherenceStepsAt(One(), values + k, least, ofLeft, running + 1 + k);
    running[0] = 0;
    std::int32_t sum = 0;
    for (k = 1; k <= count; ++k)
        running[k] = sum += running[k];
}

template <class D>
HWY_INLINE hn::Vec<D> LikelihoodWeightsAt(D d, const float* own, const std::int32_t* running, const std::int32_t* low,
                                          const std::int32_t* past, double least, double most) {
    const hn::RebindToSigned<D> whole;
    const auto from = hn::LoadU(whole, low), to = hn::LoadU(whole, past);
    const auto sum = hn::Sub(hn::GatherIndex(whole, running, to), hn::GatherIndex(whole, running, from));
    const auto length = hn::Mul(hn::ConvertTo(d, hn::Sub(to, from)), hn::Set(d, static_cast<float>(runningUnit)));
    const auto mean = hn::Min(hn::Set(d, static_cast<float>(most)), hn::Div(hn::ConvertTo(d, sum), length));
    const auto above = hn::Gt(mean, hn::Set(d, static_cast<float>(least)));
    const auto safe = hn::IfThenElse(above, mean, hn::Set(d, 0.5f));
    const auto here = hn::Max(hn::Zero(d), hn::LoadU(d, own));
    const auto trusted = hn::Min(hn::Sqrt(hn::Mul(here, safe)), hn::Add(safe, safe)); // safe sqrt(min(here/safe, 4))
    return hn::IfThenElseZero(above, hn::Div(trusted, hn::Sub(hn::Set(d, 1.0f), safe)));
}

double LikelihoodWeights(const float* own, const std::int32_t* running, const std::int32_t* low,
                         const std::int32_t* past, std::size_t count, double least, double most, double* weights) {
    const Doubles d;
    const Narrow narrow;
    auto sum = hn::Zero(d);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d)) {
        const auto weight =
            hn::PromoteTo(d, LikelihoodWeightsAt(narrow, own + k, running, low + k, past + k, least, most));
        hn::StoreU(weight, d, weights + k);
        sum = hn::Add(sum, weight);
    }
    double total = hn::GetLane(hn::SumOfLanes(d, sum));
    for (; k < count; ++k) {
        weights[k] = static_cast<double>(
            hn::GetLane(LikelihoodWeightsAt(One(), own + k, running, low + k, past + k, least, most)));
        total += weights[k];
    }
    return total;
}

void AddCoherences(const float* estimates, const CoherenceCells& cells, std::size_t count, const CoherenceBias& bias,
                   CoherenceSums& sums) {
    const Doubles d;
    const Narrow narrow;
    const hn::RebindToSigned<Narrow> places;
    const auto one = hn::Set(d, 1.0), first = hn::Set(d, bias.first), second = hn::Set(d, bias.second),
               third = hn::Set(d, bias.third);
    auto coherence = hn::Zero(d), weights = coherence, powers = coherence, squares = coherence, linear = coherence,
         square = coherence;
    for (std::size_t k = 0; k < count; k += hn::Lanes(d)) {
        const auto read = hn::GatherIndex(narrow, estimates, hn::LoadU(places, cells.places + k));
        const auto sounds = hn::Ge(read, hn::Zero(narrow));
        const auto of = [&](const float* values) {
            return hn::PromoteTo(d, hn::IfThenElseZero(sounds, hn::LoadU(narrow, values + k)));
        };
        const auto weight = of(cells.weights), power = of(cells.powers), itsSquare = of(cells.squares);
        const auto x = hn::Sub(one, hn::PromoteTo(d, read));
        const auto inner = hn::MulAdd(hn::Mul(second, x), hn::MulAdd(third, x, one), one);
        const auto incoherence = hn::Mul(x, hn::MulAdd(hn::Mul(first, x), inner, one));
        const auto left = hn::Mul(incoherence, incoherence), here = hn::Sub(one, incoherence);
        coherence = hn::MulAdd(weight, here, coherence);
        weights = hn::Add(weights, weight);
        powers = hn::Add(powers, power);
        squares = hn::Add(squares, itsSquare);
        linear = hn::MulAdd(hn::Mul(power, here), left, linear);
        square = hn::MulAdd(hn::Mul(itsSquare, left), left, square);
    }
    const auto all = [&](auto of) { return hn::GetLane(hn::SumOfLanes(d, of)); };
    sums.coherence += all(coherence);
    sums.weights += all(weights);
    sums.powers += all(powers);
    sums.squares += all(squares);
    sums.linear += all(linear);
    sums.square += all(square);
}

double SumOfProducts(const double* a, const double* b, const double* c, std::size_t count) {
    const Doubles d;
    auto sum = hn::Zero(d);
    eachVector(count, [&](std::size_t k, std::size_t some) {
        sum = hn::MulAdd(hn::Mul(LoadSome(a + k, some), LoadSome(b + k, some)), LoadSome(c + k, some), sum);
    });
    return hn::GetLane(hn::SumOfLanes(d, sum));
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(ConjugatePhasors);
HWY_EXPORT(Coherences);
HWY_EXPORT(Weigh);
HWY_EXPORT(PlaceOfLargest);
HWY_EXPORT(DoubleRate);
HWY_EXPORT(FirstReaching);
HWY_EXPORT(LocalPeaks);
HWY_EXPORT(TurnPhasors);
HWY_EXPORT(SumTurned);
HWY_EXPORT(RunningCoherence);
HWY_EXPORT(LikelihoodWeights);
HWY_EXPORT(AddCoherences);
HWY_EXPORT(SumOfProducts);

void conjugatePhasors(const std::complex<float>* cross, std::size_t count, float* re, float* im, float* magnitudes) {
    HWY_DYNAMIC_DISPATCH(ConjugatePhasors)(cross, count, re, im, magnitudes);
}
void coherences(const std::complex<float>* cross, const float* a, const float* b, std::size_t count, float* magnitudes,
                float* coherence) {
    HWY_DYNAMIC_DISPATCH(Coherences)(cross, a, b, count, magnitudes, coherence);
}
void weigh(const float* re, const float* im, const float* weights, std::size_t count, std::complex<float>* out) {
    HWY_DYNAMIC_DISPATCH(Weigh)(re, im, weights, count, out);
}
std::size_t placeOfLargest(const float* values, std::size_t count, float sign) {
    return HWY_DYNAMIC_DISPATCH(PlaceOfLargest)(values, count, sign);
}
namespace {
/// Half of a half-band filter, by least squares weighted anew until the ripples up to doublingEdge were alike (6.3e-5).
constexpr float halfBand[doublingReach] = {0.6273926f,     -0.1859103859f,   0.08771178575f, -0.04309239062f,
                                           0.01975644279f, -0.007866365884f, 0.00247919362f, -0.0005023214873f};
} // namespace

void doubleRate(const float* values, std::size_t count, float* out) {
    HWY_DYNAMIC_DISPATCH(DoubleRate)(values, count, halfBand, out);
}

std::size_t firstReaching(const float* values, std::size_t count, float sign, float least) {
    return HWY_DYNAMIC_DISPATCH(FirstReaching)(values, count, sign, least);
}
std::size_t localPeaks(const float* values, std::size_t count, std::uint32_t* places) {
    return HWY_DYNAMIC_DISPATCH(LocalPeaks)(values, count, places);
}
void turnPhasors(const float* re, const float* im, std::size_t count, Turn turn, double* turnedRe, double* turnedIm) {
    HWY_DYNAMIC_DISPATCH(TurnPhasors)(re, im, count, turn, turnedRe, turnedIm);
}
TurnedSums turnedSums(const float* re, const float* im, const double* weights, const double* omega, std::size_t count,
                      Turn turn) {
    return HWY_DYNAMIC_DISPATCH(SumTurned)(re, im, weights, omega, count, turn);
}
void runningCoherence(const float* values, std::size_t count, double limit, double bias, std::int32_t* running) {
    HWY_DYNAMIC_DISPATCH(RunningCoherence)(values, count, limit, bias, running);
}
double likelihoodWeights(const float* own, const std::int32_t* running, const std::int32_t* low,
                         const std::int32_t* past, std::size_t count, double least, double most, double* weights) {
    return HWY_DYNAMIC_DISPATCH(LikelihoodWeights)(own, running, low, past, count, least, most, weights);
}
void addCoherences(const float* estimates, const CoherenceCells& cells, std::size_t count, const CoherenceBias& bias,
                   CoherenceSums& sums) {
    HWY_DYNAMIC_DISPATCH(AddCoherences)(estimates, cells, count, bias, sums);
}

double sumOfProducts(const double* a, const double* b, const double* c, std::size_t count) {
    return HWY_DYNAMIC_DISPATCH(SumOfProducts)(a, b, c, count);
}

} // namespace spillwright::kernels
#endif
