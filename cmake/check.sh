#!/usr/bin/env bash
# Every check: style, the tests of the real build, and those under the address, undefined-behaviour and thread sanitizers.
# Ends with the time of each part and, after all else, the name and the output of each test that failed.
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"

folders=(build build/address build/thread)
times=()
failed=0

# timed WHAT COMMAND...: runs it and keeps how long it took.
timed() {
    local what=$1 begin=$SECONDS
    shift
    "$@"
    times+=("$(printf '%5d s  %s' $((SECONDS - begin)) "$what")")
}

style() {
    say "style"
    git ls-files '*.h' '*.cpp' | xargs clang-format --dry-run -Werror
    bash cmake/analyse.sh
}

# The sanitizers' tests wait for each other's threads and drive no real window: three at a time keep two cores busy.
run_tests() {
    local together=2
    [ "$1" = build ] || together=3
    say "tests of $1"
    ctest --test-dir "$1" --output-on-failure -j "$together" --output-junit tests.xml || failed=1
}

report() {
    local status=$?
    say "times"
    printf '%s\n' "${times[@]}" "$(printf '%5d s  in all' $SECONDS)"
    say "tests that failed"
    python3 cmake/failed_tests.py "${folders[@]/%//tests.xml}"
    [ "$status" -eq 0 ] || printf "\nThe checks have stopped early: see above the times.\n"
}

for folder in "${folders[@]}"; do rm -f "$folder/tests.xml"; done
trap report EXIT
timed style style
timed "building build" configure_and_build build
timed "building build/address" configure_and_build build/address -DSPILLWRIGHT_SANITIZE=address -- spillwright_tests
timed "building build/thread" configure_and_build build/thread -DSPILLWRIGHT_SANITIZE=thread -- spillwright_tests

# JACK remembers eight servers, the killed ones too. Where none runs, nothing is lost by forgetting them.
pgrep -x 'jackd|jackdbus' >/dev/null || rm -f /dev/shm/jack-shm-registry

for folder in "${folders[@]}"; do timed "tests of $folder" run_tests "$folder"; done
trap - EXIT
report
exit $failed
