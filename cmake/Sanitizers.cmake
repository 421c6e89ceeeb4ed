# -DSPILLWRIGHT_SANITIZE=address (with undefined) or thread. Everything is instrumented but, under address, most of
# JUCE, which is long to compile and works on little memory of ours (cmake/Dependencies.cmake).
set(SPILLWRIGHT_SANITIZE "" CACHE STRING "address (with undefined) or thread; empty for none")
set_property(CACHE SPILLWRIGHT_SANITIZE PROPERTY STRINGS "" address thread)
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
elseif(NOT SPILLWRIGHT_SANITIZE STREQUAL "")
    message(FATAL_ERROR "SPILLWRIGHT_SANITIZE is '${SPILLWRIGHT_SANITIZE}'; use address or thread")
endif()
add_compile_options(${SPILLWRIGHT_SANITIZE_OPTIONS})

# spillwright_precompile(<target> <header>...): large headers of libraries, read once a target. Only under the sanitizers:
# the plain build proves that every file includes what it needs.
function(spillwright_precompile TARGET)
    if(SPILLWRIGHT_SANITIZE_OPTIONS)
        target_precompile_headers(${TARGET} PRIVATE ${ARGN})
        if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
            target_compile_options(${TARGET} PRIVATE -fpch-preprocess) # for the compiler cache
        endif()
    endif()
endfunction()
