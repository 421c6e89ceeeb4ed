#!/usr/bin/env bash
# Every check: style, the tests under the address, undefined-behaviour and thread sanitizers, and the tests of the real build.
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"

say "style"
git ls-files '*.h' '*.cpp' | xargs clang-format --dry-run -Werror

configure_and_build build
configure_and_build build/address -DSPILLWRIGHT_SANITIZE=address
configure_and_build build/thread -DSPILLWRIGHT_SANITIZE=thread

# JACK remembers eight servers, the killed ones too. Where none runs, nothing is lost by forgetting them.
pgrep -x 'jackd|jackdbus' >/dev/null || rm -f /dev/shm/jack-shm-registry

failed=0
for folder in build/address build/thread build; do
    say "tests of $folder"
    ctest --test-dir "$folder" --output-on-failure -j 2 || failed=1
done
exit $failed
