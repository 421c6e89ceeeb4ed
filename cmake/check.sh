#!/usr/bin/env bash
# Every check: style, the tests of the real build, and those under the address, undefined-behaviour and thread sanitizers.
# Ends with the time of each part and, after all else, the name and the output of each test that failed.
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"

presets=(release address thread) # in CMakePresets.json
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

# Under the sanitizers three at a time keep two cores busy: the tests wait for each other's threads and drive no real window.
run_tests() {
    say "tests of $1"
    ctest --preset "$1" --output-junit "$PWD/build/tests.$1.xml" || failed=1
}

report() {
    local status=$?
    say "times"
    printf '%s\n' "${times[@]}" "$(printf '%5d s  in all' $SECONDS)"
    say "tests that failed"
    local results=("${presets[@]/#/build/tests.}")
    python3 cmake/failed_tests.py "${results[@]/%/.xml}"
    [ "$status" -eq 0 ] || printf "\nThe checks have stopped early: see above the times.\n"
}

rm -f build/tests.*.xml
trap report EXIT
timed style style
for preset in "${presets[@]}"; do timed "building $preset" configure_and_build "$preset"; done

# JACK remembers eight servers, the killed ones too. Where none runs, nothing is lost by forgetting them.
pgrep -x 'jackd|jackdbus' >/dev/null || rm -f /dev/shm/jack-shm-registry

for preset in "${presets[@]}"; do timed "tests of $preset" run_tests "$preset"; done
trap - EXIT
report
exit $failed
