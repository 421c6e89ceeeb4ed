#!/usr/bin/env bash
# Builds the fuzzer and lets it run: bash cmake/fuzz.sh [SECONDS [TARGET...]]: so long over each target (30, all of them).
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"

install_packages clang-14 libclang-rt-14-dev
configure_and_build fuzz
say "fuzzing"
python3 Tests/Fuzz/run.py build/fuzz/Tests/Fuzz/spillwright_fuzz "${@:-30}"
