# -DSPILLWRIGHT_SANITIZE=address (with undefined), thread, fuzz (address and undefined under libFuzzer; needs Clang) or
# coverage, which counts the lines that run. Everything is instrumented but JUCE, under address most of it and under coverage
# all: it is long to compile and works on little memory of ours (cmake/Dependencies.cmake).
set(SPILLWRIGHT_SANITIZE "" CACHE STRING "address (with undefined), thread, fuzz or coverage; empty for none")
set_property(CACHE SPILLWRIGHT_SANITIZE PROPERTY STRINGS "" address thread fuzz coverage)
set(SPILLWRIGHT_SANITIZE_OPTIONS "")
if(SPILLWRIGHT_SANITIZE STREQUAL "address")
    # A null pointer ends the program by itself, an object's bounds are the address sanitizer's, and vectors that must be
    # aligned are loaded by instructions that insist on it: checks of these double the time that compiling takes.
    set(SPILLWRIGHT_SANITIZE_OPTIONS -fsanitize=address,undefined -fno-sanitize=null,alignment,object-size
        -fno-sanitize-recover=all -fno-omit-frame-pointer -g1 -O1)
    add_link_options(-fsanitize=address,undefined)
elseif(SPILLWRIGHT_SANITIZE STREQUAL "thread")
    set(SPILLWRIGHT_SANITIZE_OPTIONS -fsanitize=thread -fno-omit-frame-pointer -g1 -O1)
    add_link_options(-fsanitize=thread)
elseif(SPILLWRIGHT_SANITIZE STREQUAL "fuzz")
    if(NOT CMAKE_CXX_COMPILER_ID STREQUAL "Clang")
        message(FATAL_ERROR "libFuzzer comes with Clang: add -DCMAKE_C_COMPILER=clang -DCMAKE_CXX_COMPILER=clang++")
    endif()
    set(SPILLWRIGHT_SANITIZE_OPTIONS -fsanitize=fuzzer-no-link,address,undefined
        -fno-sanitize=null,alignment,object-size,vptr,function -fno-sanitize-recover=all -fno-omit-frame-pointer -g1 -O1)
    add_link_options(-fsanitize=address,undefined)
elseif(SPILLWRIGHT_SANITIZE STREQUAL "coverage")
    set(SPILLWRIGHT_SANITIZE_OPTIONS --coverage -fprofile-update=atomic -O1)
    add_link_options(--coverage)
elseif(NOT SPILLWRIGHT_SANITIZE STREQUAL "")
    message(FATAL_ERROR "SPILLWRIGHT_SANITIZE is '${SPILLWRIGHT_SANITIZE}'; use address, thread, fuzz or coverage")
endif()
add_compile_options(${SPILLWRIGHT_SANITIZE_OPTIONS})

# spillwright_precompile(<target> <header>...): large headers of libraries, read once a target. Only under the sanitizers:
# the plain build proves that every file includes what it needs.
function(spillwright_precompile TARGET)
    if(SPILLWRIGHT_SANITIZE_OPTIONS)
        target_precompile_headers(${TARGET} PRIVATE ${ARGN})
        if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
            target_compile_options(${TARGET} PRIVATE -fpch-preprocess) # for the compiler cache
        else()
            target_compile_options(${TARGET} PRIVATE "SHELL:-Xclang -fno-pch-timestamp") # likewise
        endif()
    endif()
endfunction()
