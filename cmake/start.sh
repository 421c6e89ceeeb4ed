#!/usr/bin/env bash
# From a fresh machine to the whole job on the demo: install, build, compute the demo, measure, propose, open the window.
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"

configure_and_build release spillwright spillwright-cli

cli=build/spillwright-cli
demo=$("$cli" demo | head -n 1 | cut -d ' ' -f 1)
recording="build/demo/$demo"
if [ ! -d "$recording" ]; then
    say "computing the demo recording '$demo'"
    "$cli" demo "$demo" --to "$recording"
fi

say "measurement"
"$cli" measure "$recording"

say "proposals"
"$cli" propose "$recording"

if [ -n "${DISPLAY:-}" ]; then
    say "the window (it starts quietly; mind your monitors all the same)"
    exec build/spillwright "$recording"
fi
say "no display: the window is build/spillwright, the recording is $recording"
