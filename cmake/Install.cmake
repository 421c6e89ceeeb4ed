# Where things lie when installed, and how the build tree shows the same to the programs that run from it.
include(GNUInstallDirs)
set(SPILLWRIGHT_CONTACT "The Spillwright authors <authors@spillwright.invalid>" CACHE STRING "Who a package names as its maintainer")
set(CMAKE_INSTALL_DEFAULT_COMPONENT_NAME spillwright) # so that a fetched library's own rules can be left out
if(IS_ABSOLUTE "${CMAKE_INSTALL_DATADIR}")
    message(FATAL_ERROR "CMAKE_INSTALL_DATADIR is '${CMAKE_INSTALL_DATADIR}'; give it relative to the prefix, as share")
endif()
set(SPILLWRIGHT_SHARED_DATA "${CMAKE_INSTALL_DATADIR}/spillwright")

add_custom_target(spillwright_installed) # what is installed besides the programs

# spillwright_shared(<folder>): a folder of files that the programs read at run time (Session/SharedData.h).
function(spillwright_shared FOLDER)
    get_filename_component(name "${FOLDER}" NAME)
    file(MAKE_DIRECTORY "${CMAKE_BINARY_DIR}/${SPILLWRIGHT_SHARED_DATA}")
    file(CREATE_LINK "${FOLDER}" "${CMAKE_BINARY_DIR}/${SPILLWRIGHT_SHARED_DATA}/${name}" COPY_ON_ERROR SYMBOLIC)
    install(DIRECTORY "${FOLDER}" DESTINATION "${SPILLWRIGHT_SHARED_DATA}")
endfunction()

# spillwright_install_compressed(<file> <destination>): a man page or a list of changes, as distributions want them.
find_program(SPILLWRIGHT_GZIP gzip)
function(spillwright_install_compressed FILE DESTINATION)
    if(SPILLWRIGHT_GZIP)
        add_custom_command(OUTPUT "${FILE}.gz" COMMAND "${SPILLWRIGHT_GZIP}" -9nkf "${FILE}" DEPENDS "${FILE}" VERBATIM)
        get_filename_component(name "${FILE}" NAME)
        add_custom_target("compress_${name}" ALL DEPENDS "${FILE}.gz")
        add_dependencies(spillwright_installed "compress_${name}")
        install(FILES "${FILE}.gz" DESTINATION "${DESTINATION}")
    else()
        install(FILES "${FILE}" DESTINATION "${DESTINATION}")
    endif()
endfunction()
