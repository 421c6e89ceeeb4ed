# The Debian package; bash cmake/package.sh makes it.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_CONTACT "${SPILLWRIGHT_CONTACT}")
set(CPACK_PACKAGE_VENDOR "Spillwright")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS
    OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS "libx11-6, libxext6, libxinerama1, libxcursor1, libxrandr2") # opened at run time, by JUCE
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "musescore-general-soundfont-small") # the demo's players
set(CPACK_DEBIAN_PACKAGE_SUGGESTS "libjack-jackd2-0 | libjack-0.125") # opened at run time, where it is
set(CPACK_PACKAGE_DESCRIPTION "\
An engineer records an ensemble in one room with many microphones, and every
microphone hears every instrument. Spillwright opens a folder of such
tracks, measures every pair of them (coherence, arrival, polarity), shows
which pairs add and which cancel and which instrument is heard in which
track, proposes the polarity flips and time nudges that make the low-mids
add up, with a bound on how far any other setting could be better, lets each
of them be heard live in the sum, and renders the one that the ear chooses.
.
The package holds the window, spillwright, and a command line that does the
same work, spillwright-cli.")
include(CPack)
