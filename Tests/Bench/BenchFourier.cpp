// Time of the real transforms, against FFTW's own real ones with an estimated and with a measured plan; and the making
// of the plans that the program carries.
//
//     spillwright_bench_fourier                                   prints a table
//     spillwright_bench_fourier --plan > FILE                     times plans for some minutes and writes
//                                                                 Source/Core/Signal/FourierPlans.h; on an idle machine

#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <fftw3.h>

#include <algorithm>
#include <chrono>
#include <complex>
#include <cstdio>
#include <cstring>
#include <functional>
#include <memory>
#include <vector>

using namespace spillwright;

namespace {

constexpr int shortest = 1024, longest = 65536; // real samples

fftwf_complex* fftwComplex(AlignedVector<std::complex<float>>& data) {
    return reinterpret_cast<fftwf_complex*>(data.data());
}

/// The quickest of many, microseconds.
double microseconds(const std::function<void()>& work) {
    using Clock = std::chrono::steady_clock;
    constexpr int rounds = 200, inOne = 10;
    double best = 1e9;
    for (int round = 0; round < rounds; ++round) {
        const auto begin = Clock::now();
        for (int k = 0; k < inOne; ++k)
            work();
        best = std::min(best, std::chrono::duration<double, std::micro>(Clock::now() - begin).count() / inOne);
    }
    return best;
}

void printTable() {
    std::printf("microseconds a transform, forward / inverse\n"
                "length |  ours         | FFTW's real one, estimated | measured\n");
    std::vector<std::shared_ptr<const Fourier>> transforms;
    for (int length = shortest; length <= longest; length *= 2)
        transforms.push_back(Fourier::ofLength(length));
    fftwf_forget_wisdom(); // FFTW's own are to know nothing of it
    for (const auto& transform : transforms) {
        const int length = transform->length();
        AlignedVector<float> time(static_cast<std::size_t>(length));
        AlignedVector<std::complex<float>> spectrum(static_cast<std::size_t>(transform->binCount()));
        std::printf("%6d | %6.2f %6.2f ", length,
                    microseconds([&] { transform->forward(time.data(), spectrum.data()); }),
                    microseconds([&] { transform->inverse(spectrum.data(), time.data()); }));
        for (const unsigned effort : {FFTW_ESTIMATE, FFTW_MEASURE}) {
            const auto forward = fftwf_plan_dft_r2c_1d(length, time.data(), fftwComplex(spectrum), effort);
            const auto inverse = fftwf_plan_dft_c2r_1d(length, fftwComplex(spectrum), time.data(), effort);
            std::fill(time.begin(), time.end(), 0.0f);
            std::fill(spectrum.begin(), spectrum.end(), std::complex<float>());
            std::printf("| %6.2f %6.2f ", microseconds([&] { fftwf_execute(forward); }),
                        microseconds([&] { fftwf_execute(inverse); }));
            fftwf_destroy_plan(forward);
            fftwf_destroy_plan(inverse);
        }
        std::printf("\n");
        std::fflush(stdout);
    }
}

void printPlans() {
    for (int half = shortest / 2; half <= longest / 2; half *= 2)
        for (const int direction : {FFTW_FORWARD, FFTW_BACKWARD}) {
            AlignedVector<std::complex<float>> from(static_cast<std::size_t>(half)), to(from.size());
            fftwf_destroy_plan(fftwf_plan_dft_1d(half, fftwComplex(from), fftwComplex(to), direction, FFTW_PATIENT));
        }
    char* const plans = fftwf_export_wisdom_to_string();
    std::printf(
        "#pragma once\n\nnamespace spillwright {\n\n"
        "/// What FFTW found quickest for complex transforms of %d to %d points: written by\n"
        "/// spillwright_bench_fourier --plan. FFTW refuses it where its version or the processor's vectors differ.\n"
        "inline constexpr const char* fourierPlans = R\"(%s)\";\n\n} // namespace spillwright\n",
        shortest / 2, longest / 2, plans);
}

} // namespace

int main(int argc, char** argv) {
    if (argc > 1 && std::strcmp(argv[1], "--plan") == 0)
        printPlans();
    else
        printTable();
}
