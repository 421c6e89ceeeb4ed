# Build type and compiler cache.
if(NOT CMAKE_BUILD_TYPE AND NOT CMAKE_CONFIGURATION_TYPES)
    set(CMAKE_BUILD_TYPE Release CACHE STRING "" FORCE)
endif()
if(CMAKE_CXX_COMPILER_ID MATCHES "GNU|Clang")
    # -O2: -O3 costs compile time; the hot kernels are explicit SIMD and do not need it. No fast-math anywhere:
    # coherence relies on ordered sums and on NaN checks.
    set(CMAKE_CXX_FLAGS_RELEASE "-O2 -DNDEBUG")
    set(CMAKE_C_FLAGS_RELEASE "-O2 -DNDEBUG")
    if(CMAKE_SYSTEM_NAME STREQUAL "Linux")
        set(CMAKE_EXE_LINKER_FLAGS_RELEASE "-Wl,-z,now") # the table of functions is read-only, as distributions ask
    endif()
    # The same arithmetic in every translation unit: no contraction into fused operations behind our back.
    add_compile_options($<$<COMPILE_LANGUAGE:CXX>:-ffp-contract=off>)
endif()
find_program(CCACHE_PROGRAM ccache)
if(CCACHE_PROGRAM AND NOT CMAKE_CXX_COMPILER_LAUNCHER)
    set(CMAKE_C_COMPILER_LAUNCHER "${CCACHE_PROGRAM}")
    set(CMAKE_CXX_COMPILER_LAUNCHER "${CCACHE_PROGRAM}")
endif()
