#pragma once

namespace spillwright {

/// What FFTW found quickest for complex transforms of 512 to 32768 points: written by
/// spillwright_bench_fourier --plan. FFTW refuses it where its version or the processor's vectors differ.
inline constexpr const char* fourierPlans = R"((fftw-3.3.10 fftwf_wisdom #x9e7d4dee #xdb14fed1 #x34bf76a4 #xeb6e8fdf
  (fftwf_codelet_n2bv_32_avx 0 #x11048 #x11048 #x0 #x99e60d73 #x0bde6d2d #xf46fd4b1 #xc03f9218)
  (fftwf_codelet_t1bv_8_avx 0 #x11048 #x11048 #x0 #xd74fa760 #x1a26b430 #x25e78344 #x00a91678)
  (fftwf_codelet_t2fv_64_avx 0 #x11048 #x11048 #x0 #xa68dcd94 #xb4f1caca #x52be4b50 #x2db0f5a0)
  (fftwf_codelet_n2bv_64_avx 0 #x11048 #x11048 #x0 #x173bfad6 #xfe0ac75c #x930d4dd6 #x56064877)
  (fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x89f7c8d7 #x3b2a127a #x1ffa8563 #x2db2b2c9)
  (fftwf_codelet_n2bv_64_avx 0 #x11048 #x11048 #x0 #xbb3c871e #xa520e69a #xe1582778 #xfb8c0eed)
  (fftwf_codelet_n2bv_64_avx 0 #x11048 #x11048 #x0 #x720aa8ba #x296fb0a4 #xbbc01703 #xe21a0efd)
  (fftwf_codelet_t2bv_64_avx 0 #x11048 #x11048 #x0 #x889f271b #xfc322bc3 #x77dab9f2 #x358ba725)
  (fftwf_codelet_t2fv_64_avx 0 #x11048 #x11048 #x0 #x21c528b9 #x63c201bc #xa3c09b11 #xc2b338e6)
  (fftwf_codelet_t2bv_64_avx 0 #x11048 #x11048 #x0 #xc1e8d4e9 #x6f05b677 #x9c1c71ea #x515c6898)
  (fftwf_codelet_t2fv_64_avx 0 #x11048 #x11048 #x0 #xfeec02f8 #xbbf06357 #xb26e7a2b #xf7b9dcb8)
  (fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x0e08e30c #xdbdb011b #xb17ba3dc #x7a80d3c3)
  (fftwf_codelet_n2bv_32_avx 0 #x11048 #x11048 #x0 #xdb39b968 #xc147018f #x3cf3ad8d #x222b5b9c)
  (fftwf_codelet_n2fv_32_avx 0 #x11048 #x11048 #x0 #x407181dc #x8a77cb1e #xa88df8c5 #xa32373b5)
  (fftwf_codelet_t2bv_8_avx 0 #x11048 #x11048 #x0 #xf06b0ac4 #x8ab72ac2 #x63b670d4 #xf83e4dff)
  (fftwf_codelet_t2fv_8_avx 0 #x11048 #x11048 #x0 #xf1915d84 #x56c4bdfa #x16f8d847 #xdbd3c190)
  (fftwf_codelet_t1bv_8_avx 0 #x11048 #x11048 #x0 #x71b35416 #x033191ee #x08427f48 #x060813e0)
  (fftwf_codelet_t2fv_32_avx 0 #x11048 #x11048 #x0 #xc6ca45ce #xf08c5f4a #x61a53ade #xe5e374c8)
  (fftwf_codelet_t2bv_32_avx 0 #x11048 #x11048 #x0 #x1cb7f5f0 #x46f91ed3 #x4b109347 #x5b084ce3)
  (fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x271f0bec #xd994fecc #xd28a08b7 #xaacd0b8e)
  (fftwf_codelet_t1fv_8_avx 0 #x11048 #x11048 #x0 #xbbc411c6 #x71d08975 #x76a8caa6 #x13907ae6)
  (fftwf_codelet_t2fv_32_avx 0 #x11048 #x11048 #x0 #xb65625c8 #x92481e7d #x78ced193 #xc433149a)
  (fftwf_codelet_n2fv_64_avx 0 #x11048 #x11048 #x0 #x0df2f71b #xd9a14104 #xd08bbebf #x0f6f4a39)
  (fftwf_codelet_n2fv_8_avx 0 #x11048 #x11048 #x0 #x3f177dac #xd6bae8fd #xec314547 #x95908075)
  (fftwf_codelet_t2bv_64_avx 0 #x11048 #x11048 #x0 #x8249e065 #x66874d74 #xdfc06fa0 #x1a93261c)
  (fftwf_codelet_t2bv_64_avx 0 #x11048 #x11048 #x0 #xb9da9e1a #xb5ad84a3 #xd98a6c23 #x906c1255)
  (fftwf_codelet_t2fv_64_avx 0 #x11048 #x11048 #x0 #x8a755267 #x6378e3be #x20af89ad #xb4a633e9)
  (fftwf_codelet_t1bv_8_avx 0 #x11048 #x11048 #x0 #xa33f803b #x1d3d7036 #x2bd76bc9 #x1385cd33)
  (fftwf_codelet_n2fv_64_avx 0 #x11048 #x11048 #x0 #x27df1dad #x2c21af60 #x212f0751 #x93d6078b)
  (fftwf_codelet_n2bv_32_avx 0 #x11048 #x11048 #x0 #x460ed747 #x9e8023d6 #x83cae144 #x6ec4e770)
  (fftwf_codelet_n2fv_32_avx 0 #x11048 #x11048 #x0 #x20534da8 #xb60daf19 #x2cee2490 #x956943ca)
  (fftwf_codelet_t2fv_64_avx 0 #x11048 #x11048 #x0 #xa5af12be #x8ea95383 #xcd10c847 #xe6812dfa)
  (fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x8b45f446 #x3c62a726 #x99e0bb21 #x774a2e23)
  (fftwf_codelet_t2fv_8_avx 0 #x11048 #x11048 #x0 #x5d434298 #x88e29877 #xadad8a78 #x52119eab)
  (fftwf_codelet_n2fv_32_avx 0 #x11048 #x11048 #x0 #xf9692145 #xa4d42fc9 #x7f94cc7c #xd60394a3)
  (fftwf_codelet_n2bv_16_avx 0 #x11048 #x11048 #x0 #x09828f7b #x31d0c35d #xa617d809 #x4ccb96bd)
  (fftwf_codelet_t2bv_64_avx 0 #x11048 #x11048 #x0 #xd86f0fcc #x804581bb #x5ccfdfba #x14108c49)
  (fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #x92563b16 #xbd738013 #xc39def2a #x98861c52)
  (fftwf_codelet_n2fv_32_avx 0 #x11048 #x11048 #x0 #x8a4c5fa4 #xb54017ef #x048c03df #x4f290280)
  (fftwf_dft_vrank_geq1_register 0 #x11048 #x11048 #x0 #xeee22a12 #x07481df6 #x5c79cb14 #x143b8b22)
)
)";

} // namespace spillwright
