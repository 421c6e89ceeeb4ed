#include "Core/Signal/Fourier.h"

#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/FourierKernels.h"
#include "Core/Signal/FourierPlans.h"

#include <fftw3.h>

#include <cassert>
#include <cmath>
#include <map>
#include <mutex>
#include <numbers>

namespace spillwright {

namespace {
// FFTW plans one at a time; only execution is free of locks.
std::mutex& planning() {
    static std::mutex mutex;
    return mutex;
}
fftwf_complex* fftwComplex(std::complex<float>* data) {
    return reinterpret_cast<fftwf_complex*>(data); // the layouts agree by FFTW's and the standard's promise
}
} // namespace

/// Complex transforms of half the length: FFTW's are that much quicker than its real ones that the step between them is
/// well paid.
struct Fourier::Plans {
    fftwf_plan forward = nullptr;
    fftwf_plan inverse = nullptr;
    AlignedVector<std::complex<float>> turn; // e^{-j pi k / half}, k = 0..half/2
};

Fourier::Fourier(int length) : samples(length), plans(std::make_unique<Plans>()) {
    assert(length >= 2 && length % 2 == 0);
    // Once; refused, and plans are estimated, on another processor.
    [[maybe_unused]] static const int accepted = fftwf_import_wisdom_from_string(fourierPlans);
    const int half = length / 2;
    AlignedVector<std::complex<float>> from(static_cast<std::size_t>(binCount())), to(from.size());
    plans->forward =
        fftwf_plan_dft_1d(half, fftwComplex(from.data()), fftwComplex(to.data()), FFTW_FORWARD, FFTW_ESTIMATE);
    plans->inverse =
        fftwf_plan_dft_1d(half, fftwComplex(from.data()), fftwComplex(to.data()), FFTW_BACKWARD, FFTW_ESTIMATE);
    for (int k = 0; k <= half / 2; ++k)
        plans->turn.emplace_back(std::polar(1.0, -std::numbers::pi * k / half));
}

Fourier::~Fourier() {
    fftwf_destroy_plan(plans->forward);
    fftwf_destroy_plan(plans->inverse);
}

std::shared_ptr<const Fourier> Fourier::ofLength(int length) {
    static std::map<int, std::shared_ptr<const Fourier>> made; // a handful of lengths a program; kept for its life
    std::lock_guard lock(planning());
    auto& transform = made[length];
    if (!transform) transform = std::shared_ptr<const Fourier>(new Fourier(length));
    return transform;
}

void Fourier::forward(float* input, std::complex<float>* output) const {
    fftwf_execute_dft(plans->forward, fftwComplex(reinterpret_cast<std::complex<float>*>(input)), fftwComplex(output));
    kernels::realFromHalf(output, plans->turn.data(), static_cast<std::size_t>(samples) / 2);
}

void Fourier::inverse(std::complex<float>* input, float* output) const {
    kernels::halfFromReal(input, plans->turn.data(), static_cast<std::size_t>(samples) / 2);
    fftwf_execute_dft(plans->inverse, fftwComplex(input), fftwComplex(reinterpret_cast<std::complex<float>*>(output)));
}

} // namespace spillwright
