# Sourced by start.sh and check.sh: installs what is missing and gives configure_and_build. Safe to repeat.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '\n== %s\n' "$*"; }

install_packages() {
    if ! command -v apt-get >/dev/null 2>&1 || ! command -v dpkg-query >/dev/null 2>&1; then
        cat >&2 <<'END'
This script installs packages with apt, as Debian 12 and its relatives do; there is no apt here.
On another system install the libraries named in cmake/packages.txt yourself (or none: CMake fetches pinned versions),
then: cmake -S . -B build && cmake --build build && ctest --test-dir build
END
        exit 2
    fi
    local wanted missing=()
    wanted=$(sed -e 's/#.*//' -e '/^[[:space:]]*$/d' cmake/packages.txt)
    for package in $wanted; do
        dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
    done
    [ ${#missing[@]} -eq 0 ] && return
    local sudo=()
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null 2>&1 || { echo "These packages are missing: ${missing[*]}; install them as root, or install sudo." >&2; exit 2; }
        sudo=(sudo)
    fi
    say "installing ${missing[*]}"
    "${sudo[@]}" apt-get update -q
    "${sudo[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "${missing[@]}"
}

# A compiler cache shared by all build folders and clones; neither the compilation date that one JUCE file names nor
# precompiled headers may spoil it.
export CCACHE_SLOPPINESS=time_macros,pch_defines CCACHE_NOHASHDIR=1 CCACHE_BASEDIR=$PWD

# configure_and_build FOLDER [cmake option...] [-- target...]
configure_and_build() {
    local folder=$1 options=() targets=()
    shift
    while [ $# -gt 0 ] && [ "$1" != -- ]; do options+=("$1"); shift; done
    [ $# -gt 0 ] && shift
    [ $# -gt 0 ] && targets=(--target "$@")
    say "building $folder"
    cmake -S . -B "$folder" -G Ninja "${options[@]}" >"$folder.configure.log" 2>&1 || { cat "$folder.configure.log" >&2; exit 1; }
    rm -f "$folder.configure.log"
    cmake --build "$folder" "${targets[@]}"
}

install_packages
