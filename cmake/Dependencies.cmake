# Every library the project stands on: the distribution's package where there is one, else the same version, fetched and
# pinned. What each is for, and why this one, is said in DEVELOPERS.md. The fetching branch is for macOS and Windows.
include(FetchContent)
set(FETCHCONTENT_QUIET ON)
find_package(Threads REQUIRED)
find_package(PkgConfig QUIET)

# spillwright_pkg(<target> <pkg-config module>): sets <target>_FOUND and makes the interface target when it is there.
function(spillwright_pkg TARGET MODULE)
    if(PKG_CONFIG_FOUND)
        pkg_check_modules(${TARGET} QUIET IMPORTED_TARGET GLOBAL ${MODULE})
        if(${TARGET}_FOUND)
            add_library(${TARGET} INTERFACE)
            target_link_libraries(${TARGET} INTERFACE PkgConfig::${TARGET})
        endif()
    endif()
    set(${TARGET}_FOUND "${${TARGET}_FOUND}" PARENT_SCOPE)
endfunction()

# ---- transforms
spillwright_pkg(spillwright_fftw fftw3f)
spillwright_pkg(spillwright_fftw_double fftw3)
if(NOT spillwright_fftw_FOUND OR NOT spillwright_fftw_double_FOUND)
    set(BUILD_TESTS OFF)
    set(BUILD_SHARED_LIBS OFF)
    foreach(precision "FLOAT:fftw3f:spillwright_fftw" "DOUBLE:fftw3:spillwright_fftw_double")
        string(REPLACE ":" ";" parts "${precision}")
        list(GET parts 0 kind)
        list(GET parts 1 library)
        list(GET parts 2 target)
        if(NOT ${target}_FOUND)
            set(ENABLE_FLOAT OFF)
            if(kind STREQUAL "FLOAT")
                set(ENABLE_FLOAT ON)
            endif()
            FetchContent_Declare(${library} URL https://www.fftw.org/fftw-3.3.10.tar.gz
                URL_HASH MD5=8ccbf6a5ea78a16dbc3e1306e234cc5c)
            FetchContent_MakeAvailable(${library})
            add_library(${target} INTERFACE)
            target_link_libraries(${target} INTERFACE ${library})
            target_include_directories(${target} SYSTEM INTERFACE "${${library}_SOURCE_DIR}/api")
        endif()
    endforeach()
endif()

# ---- linear algebra, SIMD chosen at run time
find_package(Eigen3 3.4 NO_MODULE QUIET)
if(NOT TARGET Eigen3::Eigen)
    FetchContent_Declare(Eigen3 GIT_REPOSITORY https://gitlab.com/libeigen/eigen.git GIT_TAG 3.4.0 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(Eigen3)
endif()
add_library(spillwright_highway INTERFACE)
find_package(hwy 1.0 QUIET)
if(NOT hwy_FOUND)
    set(HWY_ENABLE_TESTS OFF CACHE BOOL "" FORCE)
    set(HWY_ENABLE_EXAMPLES OFF CACHE BOOL "" FORCE)
    FetchContent_Declare(hwy GIT_REPOSITORY https://github.com/google/highway.git GIT_TAG 1.0.3 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(hwy)
endif()
if(TARGET hwy::hwy)
    target_link_libraries(spillwright_highway INTERFACE hwy::hwy)
else()
    target_link_libraries(spillwright_highway INTERFACE hwy)
endif()

# Arrays of vectors are kept in registers: instruction sets whose vectors have no size at compile time are out.
target_compile_definitions(spillwright_highway INTERFACE
    "HWY_DISABLED_TARGETS=(HWY_SVE|HWY_SVE2|HWY_SVE_256|HWY_SVE2_128|HWY_RVV)")

# ---- files and words
find_package(nlohmann_json 3.11 QUIET)
if(NOT nlohmann_json_FOUND)
    FetchContent_Declare(nlohmann_json GIT_REPOSITORY https://github.com/nlohmann/json.git GIT_TAG v3.11.2 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(nlohmann_json)
endif()
find_package(CLI11 2.1 QUIET)
if(NOT CLI11_FOUND)
    FetchContent_Declare(CLI11 GIT_REPOSITORY https://github.com/CLIUtils/CLI11.git GIT_TAG v2.1.2 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(CLI11)
endif()

spillwright_pkg(spillwright_xxhash libxxhash)
if(NOT spillwright_xxhash_FOUND)
    FetchContent_Declare(xxhash GIT_REPOSITORY https://github.com/Cyan4973/xxHash.git GIT_TAG v0.8.1 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(xxhash)
    add_library(spillwright_xxhash INTERFACE) # all of it in its header
    target_include_directories(spillwright_xxhash SYSTEM INTERFACE "${xxhash_SOURCE_DIR}")
    target_compile_definitions(spillwright_xxhash INTERFACE XXH_INLINE_ALL)
endif()

# ---- resampling, loudness, the players of the demo
spillwright_pkg(spillwright_soxr soxr)
if(NOT spillwright_soxr_FOUND)
    set(BUILD_TESTS OFF)
    set(WITH_OPENMP OFF)
    FetchContent_Declare(soxr GIT_REPOSITORY https://github.com/chirlu/soxr.git GIT_TAG 0.1.3 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(soxr)
    add_library(spillwright_soxr INTERFACE)
    target_link_libraries(spillwright_soxr INTERFACE soxr)
    target_include_directories(spillwright_soxr SYSTEM INTERFACE "${soxr_SOURCE_DIR}/src")
endif()
spillwright_pkg(spillwright_flac flac)
if(NOT spillwright_flac_FOUND)
    set(WITH_OGG OFF)
    set(INSTALL_MANPAGES OFF)
    set(BUILD_CXXLIBS OFF)
    set(BUILD_PROGRAMS OFF)
    set(BUILD_EXAMPLES OFF)
    set(BUILD_TESTING OFF)
    set(BUILD_SHARED_LIBS OFF)
    FetchContent_Declare(flac GIT_REPOSITORY https://github.com/xiph/flac.git GIT_TAG 1.4.2 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(flac)
    add_library(spillwright_flac INTERFACE)
    target_link_libraries(spillwright_flac INTERFACE FLAC)
endif()
spillwright_pkg(spillwright_ebur128 libebur128)
if(NOT spillwright_ebur128_FOUND)
    FetchContent_Declare(ebur128 GIT_REPOSITORY https://github.com/jiixyj/libebur128.git GIT_TAG v1.2.6 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(ebur128)
    add_library(spillwright_ebur128 INTERFACE)
    target_link_libraries(spillwright_ebur128 INTERFACE ebur128)
    target_include_directories(spillwright_ebur128 SYSTEM INTERFACE "${ebur128_SOURCE_DIR}/ebur128")
endif()
spillwright_pkg(spillwright_fluidsynth fluidsynth)
if(NOT spillwright_fluidsynth_FOUND)
    FetchContent_Declare(fluidsynth GIT_REPOSITORY https://github.com/FluidSynth/fluidsynth.git GIT_TAG v2.3.1 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(fluidsynth)
    add_library(spillwright_fluidsynth INTERFACE)
    target_link_libraries(spillwright_fluidsynth INTERFACE libfluidsynth)
endif()

# ---- JUCE: compiled once, in one library; nothing else may link a juce:: module
find_package(JUCE 7.0.5 CONFIG QUIET)
if(NOT JUCE_FOUND)
    # 7.0.12 is the last of version 7; 7.0.5 itself does not compile with current macOS kits.
    FetchContent_Declare(JUCE GIT_REPOSITORY https://github.com/juce-framework/JUCE.git GIT_TAG 7.0.12 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(JUCE)
endif()
add_library(spillwright_juce STATIC)
target_link_libraries(spillwright_juce PRIVATE # the module sources must not travel on
    juce::juce_audio_devices juce::juce_audio_formats juce::juce_gui_basics)
target_compile_definitions(spillwright_juce
    PUBLIC # every user must see the very same values
        JUCE_USE_CURL=0 JUCE_WEB_BROWSER=0 JUCE_USE_FLAC=1 JUCE_USE_OGGVORBIS=0 JUCE_MODAL_LOOPS_PERMITTED=0
        JUCE_STRICT_REFCOUNTEDPOINTER=1 JUCE_DISPLAY_SPLASH_SCREEN=0 JUCE_STANDALONE_APPLICATION=1
        $<$<PLATFORM_ID:Linux>:JUCE_ALSA=1> $<$<PLATFORM_ID:Linux>:JUCE_JACK=1>
    INTERFACE $<TARGET_PROPERTY:spillwright_juce,COMPILE_DEFINITIONS>)
target_include_directories(spillwright_juce SYSTEM INTERFACE $<TARGET_PROPERTY:spillwright_juce,INCLUDE_DIRECTORIES>)
set_source_files_properties("${JUCE_MODULES_DIR}/juce_audio_devices/juce_audio_devices.cpp"
    PROPERTIES COMPILE_DEFINITIONS "JUCE_JACK_CLIENT_NAME=\"${PROJECT_NAME}\"")
# Under the address sanitizer only what works on our samples is instrumented: the rest are the very files of the plain build,
# which the compiler cache holds. The thread sanitizer must see every lock and counter.
if(SPILLWRIGHT_SANITIZE STREQUAL "address")
    get_target_property(options spillwright_juce COMPILE_OPTIONS)
    list(REMOVE_ITEM options ${SPILLWRIGHT_SANITIZE_OPTIONS})
    set_target_properties(spillwright_juce PROPERTIES COMPILE_OPTIONS "${options}")
    set_source_files_properties("${JUCE_MODULES_DIR}/juce_audio_basics/juce_audio_basics.cpp"
        PROPERTIES COMPILE_OPTIONS "${SPILLWRIGHT_SANITIZE_OPTIONS}")
endif()
if(CMAKE_SYSTEM_NAME STREQUAL "Linux") # the distribution strips the codecs that JUCE bundles
    pkg_check_modules(SPILLWRIGHT_CODECS REQUIRED IMPORTED_TARGET flac ogg libpng libjpeg)
    target_link_libraries(spillwright_juce PRIVATE PkgConfig::SPILLWRIGHT_CODECS)
endif()

# ---- tests and benchmarks
find_package(Catch2 2.13 QUIET)
if(NOT TARGET Catch2::Catch2)
    FetchContent_Declare(Catch2 GIT_REPOSITORY https://github.com/catchorg/Catch2.git GIT_TAG v2.13.10 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(Catch2)
    list(APPEND CMAKE_MODULE_PATH "${catch2_SOURCE_DIR}/contrib")
endif()
find_package(benchmark QUIET)
if(NOT benchmark_FOUND)
    set(BENCHMARK_ENABLE_TESTING OFF CACHE BOOL "" FORCE)
    FetchContent_Declare(benchmark GIT_REPOSITORY https://github.com/google/benchmark.git GIT_TAG v1.7.1 GIT_SHALLOW ON)
    FetchContent_MakeAvailable(benchmark)
endif()
spillwright_pkg(spillwright_mysofa libmysofa) # the measured head: its checks are built where the library is
