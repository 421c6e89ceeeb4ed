#!/usr/bin/env bash
# Which lines of Source the tests run: builds them in build/coverage with counters, runs all that are not [long] nor drive the
# real programs, and prints for each room and file the share of its lines that ran, then each stretch that did not.
# Needs gcov, which comes with gcc. What is left uncovered, and why: Tests/Coverage.md.
# usage: bash cmake/coverage.sh
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"

configure_and_build coverage
find build/coverage -name '*.gcda' -delete # counts of an earlier run
failed=0
for program in build/coverage/Tests/*/spillwright_tests_*; do
    [ -x "$program" ] || continue
    say "$program"
    xvfb-run -a "$program" '~[long]' || failed=1
done
say "lines that ran"
python3 cmake/coverage.py build/coverage
[ "$failed" -eq 0 ] || printf '\nSome tests have failed: see above.\n'
exit $failed
