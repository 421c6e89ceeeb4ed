#!/usr/bin/env bash
# An audio server without hardware, for one test: audio_server.sh <samples a period>[@<rate>] [jackd options ...]
# Prints the name of the server (for JACK_DEFAULT_SERVER) on one line, then becomes the server: end it with SIGTERM.
#
# JACK remembers at most eight servers of a user by name, and one that was killed is forgotten only when its name comes
# again. So the names are few and used again; a lock, which the server holds as long as it lives, tells which are taken.
#
# On a busy machine a client is late now and then. The server waits for it (-S), up to ten times the -t given (ms), so
# that time goes slower but no sound is lost; without -t it would wait for 20 periods and then go on without the client.
set -u
period=${1%@*} rate=${1#*@} # 256 or 256@44100
[ "$rate" = "$1" ] && rate=48000
shift
for _ in $(seq 60); do
    for slot in 1 2 3 4; do
        exec 9>"/tmp/spillwright-audio-server-$UID-$slot.lock"
        if flock --nonblock 9; then
            echo "spillwright-test-$slot"
            export JACK_NO_AUDIO_RESERVATION=1
            exec setpriv --pdeathsig TERM jackd -r -S -t 2000 "$@" -n "spillwright-test-$slot" -d dummy -r "$rate" -p "$period" >&2
        fi
    done
    sleep 1 # another test ends soon
done
echo "four audio servers of other tests are running: wait until they have ended" >&2
exit 1
