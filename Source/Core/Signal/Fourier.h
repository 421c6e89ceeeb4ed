#pragma once

#include <complex>
#include <memory>

namespace spillwright {

/// Real transform of one length in single precision, unscaled: forward then inverse multiplies by the length. Immutable
/// and shared: any number of threads may execute it at once, on buffers of their own (AlignedVector). The plan is one
/// that was timed once (FourierPlans.h), or estimated where none suits the processor; never timed here, so that a run
/// gives the same bytes as the run before.
class Fourier {
public:
    /// The shared transform of this length; planned at the first call (planning is serialised). length >= 2,
    /// even.
    static std::shared_ptr<const Fourier> ofLength(int length);
    ~Fourier();
    Fourier(const Fourier&) = delete;
    Fourier& operator=(const Fourier&) = delete;

    int length() const { return samples; }
    int binCount() const { return samples / 2 + 1; }

    /// X(k) = sum x[n] e^{-j 2 pi k n / length}, k = 0..length/2. `input` is left as it is.
    void forward(float* input, std::complex<float>* output) const;
    /// x[n] = sum X(k) e^{+j 2 pi k n / length} over all k, the upper half being the conjugate of the lower. Overwrites
    /// `input`.
    void inverse(std::complex<float>* input, float* output) const;

private:
    explicit Fourier(int length);
    int samples;
    struct Plans;
    std::unique_ptr<Plans> plans;
};

} // namespace spillwright
