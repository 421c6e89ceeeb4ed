#!/usr/bin/env bash
# Builds the Debian package, into build/package, and looks it over.
# With --try also installs it in a clean root of this distribution, runs it there as a user would, and removes it without
# trace. The root is a temporary folder; that part runs as root, and takes some minutes and the distribution's mirror.
source "$(dirname "${BASH_SOURCE[0]}")/prepare.sh"
install_packages lintian

configure_and_build release spillwright spillwright-cli spillwright_installed
say "packing"
rm -f build/package/*.deb
cpack --config build/CPackConfig.cmake -B build/package
package=$(ls build/package/spillwright_*.deb)
dpkg-deb --info "$package"

say "lintian"
lintian --fail-on error,warning "$package"
say "the package is $package"
[ "${1:-}" = --try ] || exit 0

[ "$(id -u)" -eq 0 ] || { echo "A clean root can only be made by root: sudo bash cmake/package.sh --try" >&2; exit 2; }
install_packages debootstrap

codename=$(. /etc/os-release && echo "$VERSION_CODENAME")
mirror=$(apt-get indextargets --format '$(CODENAME) $(SITE)' 'Created-By: Packages' | awk -v name="$codename" '$1 == name { print $2; exit }')
[ -n "$mirror" ] || { echo "apt knows no mirror of $codename; run apt-get update." >&2; exit 1; }

work=$(mktemp -d)
root=$work/root
screen=
tidy_up() {
    [ -z "$screen" ] || kill "$screen" 2>/dev/null || true
    rm -rf --one-file-system "$work"
}
trap tidy_up EXIT

say "a clean root of $codename"

# inside COMMAND...: in the root; its own view of processes and mounts goes with it.
inside() {
    env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/tmp/home LANG=C.UTF-8 DISPLAY="${display:-}" DEBIAN_FRONTEND=noninteractive \
        unshare --mount --pid --fork --mount-proc="$root/proc" chroot "$root" "$@"
}
as_user() { inside setpriv --reuid=65534 --regid=65534 --clear-groups "$@"; }

# quietly COMMAND...: what it said is shown only where it fails.
quietly() { "$@" >"$work/said" 2>&1 || { tail -n 40 "$work/said" >&2; exit 1; }; }

# Every file but the lists, logs, caches and earlier states that apt, dpkg and passwd keep of themselves.
files() {
    (cd "$root" && find . \( -path ./proc -o -path ./sys -o -path ./dev -o -path ./run -o -path ./tmp -o -path ./var/log \
        -o -path ./var/cache/apt -o -path ./var/lib/apt -o -path './var/lib/dpkg/*-old' -o -path ./var/lib/dpkg/statoverride \
        -o -path './etc/*-' \) -prune -o -print | LC_ALL=C sort)
}

quietly debootstrap --variant=minbase "$codename" "$root" "$mirror"
quietly inside apt-get update
files >"$work/before"

say "installing"
cp "$package" "$root/tmp/spillwright.deb"
quietly inside apt-get install -y /tmp/spillwright.deb
files >"$work/installed"
printf '%s files came, %s of them of the package itself\n' "$(comm -13 "$work/before" "$work/installed" | wc -l)" \
    "$(inside dpkg-query -L spillwright | wc -l)"
inside sh -c 'ldd /usr/bin/spillwright /usr/bin/spillwright-cli | grep "not found" && exit 1 || exit 0'

say "running the demo"
mkdir -m 1777 "$root/tmp/home"
as_user spillwright-cli --version
as_user spillwright-cli lesson | sed -n 1,4p
as_user spillwright-cli demo net-loft --to /tmp/home/net-loft
as_user spillwright-cli propose /tmp/home/net-loft --allow flips | sed -n 1,12p

say "the window"
Xvfb -displayfd 3 -ac -screen 0 1600x1000x24 3>"$work/display" >"$work/xvfb.log" 2>&1 &
screen=$!
for ((i = 0; i < 100; ++i)); do
    [ -s "$work/display" ] && break
    sleep 0.1
done
display=:$(cat "$work/display")
as_user spillwright /tmp/home/net-loft --screenshot /tmp/home/window.png
picture=$(stat -c %s "$root/tmp/home/window.png")
[ "$picture" -gt 50000 ] || { echo "The picture of the window has but $picture bytes." >&2; exit 1; }
printf 'a picture of %s bytes\n' "$picture"

say "removing"
quietly inside apt-get purge -y spillwright
quietly inside apt-get autoremove -y --purge
files >"$work/after"
if ! diff "$work/before" "$work/after"; then
    echo "Files were left, or taken away, that should not have been: see above." >&2
    exit 1
fi
say "installed, ran, and was removed without trace"
