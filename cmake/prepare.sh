# Sourced by start.sh, check.sh, coverage.sh, package.sh and fuzz.sh: installs what is missing and gives configure_and_build.
# Safe to repeat.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '\n== %s\n' "$*"; }

# install_packages NAME...: those that are missing.
install_packages() {
    if ! command -v apt-get >/dev/null 2>&1 || ! command -v dpkg-query >/dev/null 2>&1; then
        cat >&2 <<'END'
This script installs packages with apt, as Debian 12 and its relatives do; there is no apt here.
On another system install the libraries named in cmake/packages.txt yourself (or none: CMake fetches pinned versions),
then: cmake -S . -B build && cmake --build build && ctest --test-dir build
END
        exit 2
    fi
    local package missing=()
    for package in "$@"; do
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

# configure_and_build PRESET [target...]: the settings stand in CMakePresets.json.
configure_and_build() {
    local preset=$1 targets=()
    shift
    [ $# -gt 0 ] && targets=(--target "$@")
    say "building $preset"
    local log
    log=$(mktemp)
    cmake --preset "$preset" >"$log" 2>&1 || { cat "$log" >&2; rm -f "$log"; exit 1; }
    rm -f "$log"
    cmake --build --preset "$preset" "${targets[@]}"
}

install_packages $(sed -e 's/#.*//' cmake/packages.txt)
