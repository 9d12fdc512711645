#!/usr/bin/env bash
# Installs a package in a root of its own, runs what it brought, and removes it: tools/try_deb.sh FILE.deb
set -euo pipefail
[ $# -eq 1 ] || { echo "usage: $0 FILE.deb" >&2; exit 2; }
package=$(realpath "$1")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
root="$work/root"
mkdir -p "$root/var/lib/dpkg/"{info,updates,triggers} "$root/var/log"
touch "$root/var/lib/dpkg/"{status,available}
# What it depends on is in the system, not in the scratch root; its scripts, of which it has none, would want the root.
manage() { dpkg --root="$root" --log="$work/log" --force-not-root --force-depends --force-script-chrootless "$@" 2>"$work/said" || { cat "$work/said" >&2; exit 1; }; }

manage --install "$package" >/dev/null
for file in bin/subwell share/man/man1/subwell-plan.1.gz share/bash-completion/completions/subwell \
  share/zsh/vendor-completions/_subwell share/fish/vendor_completions.d/subwell.fish share/doc/subwell/THIRD-PARTY.txt \
  share/doc/subwell/copyright share/doc/subwell/examples/garden-night.toml; do
  test -s "$root/usr/$file" || { echo "the package lacks usr/$file" >&2; exit 1; }
done
(cd "$work" && env -i HOME="$work" PATH=/usr/bin:/bin LC_ALL=C.UTF-8 "$root/usr/bin/subwell" demo | tail -n 1 | grep '^=> ')
manage --remove subwell >/dev/null
left=$(find "$root" -path "$root/var" -prune -o -type f -print)
[ -z "$left" ] || { echo "left behind: $left" >&2; exit 1; }
echo "$(basename "$package") was installed, ran and was removed"
