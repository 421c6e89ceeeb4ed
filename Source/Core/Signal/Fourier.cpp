#include "Core/Signal/Fourier.h"

#include "Core/Signal/AlignedVector.h"

#include <fftw3.h>

#include <map>
#include <mutex>

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

struct Fourier::Plans {
    fftwf_plan forward = nullptr;
    fftwf_plan inverse = nullptr;
};

Fourier::Fourier(int length) : samples(length), plans(std::make_unique<Plans>()) {
    AlignedVector<float> time(static_cast<std::size_t>(length));
    AlignedVector<std::complex<float>> spectrum(static_cast<std::size_t>(binCount()));
    plans->forward = fftwf_plan_dft_r2c_1d(length, time.data(), fftwComplex(spectrum.data()), FFTW_ESTIMATE);
    plans->inverse = fftwf_plan_dft_c2r_1d(length, fftwComplex(spectrum.data()), time.data(), FFTW_ESTIMATE);
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
    fftwf_execute_dft_r2c(plans->forward, input, fftwComplex(output));
}

void Fourier::inverse(std::complex<float>* input, float* output) const {
    fftwf_execute_dft_c2r(plans->inverse, fftwComplex(input), output);
}

} // namespace spillwright
