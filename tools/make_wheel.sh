#!/usr/bin/env bash
# Makes the wheel for Python from the archive of make_archive.sh: tools/make_wheel.sh ARCHIVE.tar.gz DIR [MATURIN]
#
# maturin builds the program itself; in the same target directory that is quick. From the archive come the licences and the
# source of the decoder, which every binary carries.
set -euo pipefail
[ $# -ge 2 ] || { echo "usage: $0 ARCHIVE.tar.gz DIR [MATURIN]" >&2; exit 2; }
archive=$(realpath "$1")
mkdir -p "$2"
out=$(realpath "$2")
maturin=${3:-maturin}
cd "$(dirname "$0")/python"
legal=subwell/legal
rm -rf $legal
mkdir $legal
trap 'rm -rf $legal' EXIT
tar -xzf "$archive" -C $legal --strip-components=1 --wildcards '*/LICENSE-*' '*/THIRD-PARTY.txt' '*/source'
"$maturin" build --release --locked --out "$out" >&2
ls "$out"/subwell-*.whl
