# Warnings are errors on our own targets; libraries' headers come in as system headers.
add_library(spillwright_warnings INTERFACE)
if(CMAKE_CXX_COMPILER_ID MATCHES "GNU|Clang")
    target_compile_options(spillwright_warnings INTERFACE
        -Wall -Wextra -Wpedantic -Werror -Wshadow -Wnon-virtual-dtor -Woverloaded-virtual -Wold-style-cast
        -Wcast-qual -Wunused -Wdouble-promotion -Wformat=2 -Wnull-dereference -Wimplicit-fallthrough)
    # GCC 12 reports false null dereferences and array bounds from inlined library headers in optimised builds.
    if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
        target_compile_options(spillwright_warnings INTERFACE -Wno-null-dereference -Wno-array-bounds
            -Wno-stringop-overflow -Wno-maybe-uninitialized -Wno-restrict)
    endif()
elseif(MSVC)
    target_compile_options(spillwright_warnings INTERFACE /W4 /WX /utf-8)
    target_compile_definitions(spillwright_warnings INTERFACE NOMINMAX _USE_MATH_DEFINES)
endif()
