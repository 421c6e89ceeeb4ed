#!/usr/bin/env bash
# Static analysis: cppcheck over all of Source; with --all also clang-tidy, which takes about a quarter of an hour on two cores.
# usage: bash cmake/analyse.sh [--all]    (after a build in build/)
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

cppcheck --quiet --enable=warning,performance,portability --std=c++20 -j "$(nproc)" -I Source --error-exitcode=1 \
    --suppressions-list=cmake/cppcheck.txt --template='{file}:{line}: {severity} {id}: {message}' Source
[ "${1:-}" = --all ] || exit 0
git ls-files 'Source/*.cpp' | xargs -n 1 -P "$(nproc)" clang-tidy -p build --quiet --config-file=cmake/clang-tidy.yaml \
    --extra-arg=-Wno-unknown-warning-option 2>/dev/null
