#!/usr/bin/env bash
# Makes the archive that people unpack and run: tools/make_archive.sh PROGRAM DIR [NATIVE]
#
# PROGRAM may be one for Windows (.exe): then the archive is a .zip, without manual pages; NATIVE, this system's own
# program of the same source, writes the completions.
#
# The program, its licences and those of all it is built from, manual pages, completions; and, since the raw decoder is
# LGPL-2.1, the source of both, so that anybody can build the program again with another version of it.
set -euo pipefail
[ $# -ge 2 ] || { echo "usage: $0 PROGRAM DIR [NATIVE]" >&2; exit 2; }
program=$(realpath "$1")
native=$(realpath "${3:-$1}")
mkdir -p "$2"
out=$(realpath "$2")
cd "$(dirname "$0")/.."

version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -n 1)
host=$(rustc -vV | sed -n 's/^host: //p')
ending=
target=
case $program in *.exe)
  host=x86_64-pc-windows-gnu
  ending=.exe
  target=$host ;;
esac
name="subwell-$version-$host"
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
root="$stage/$name"
mkdir -p "$root/completions" "$root/source"

install -m 755 "$program" "$root/subwell$ending"
cp README.md CHANGELOG.md LICENSE-MIT LICENSE-APACHE "$root/"
# What README.md shows and points to.
cp -r pictures notebooks-md "$root/"
mkdir "$root/sample-calibration"
cp sample-calibration/*.toml sample-calibration/README.md "$root/sample-calibration/"
python3 tools/check_dependencies.py --list "$root/THIRD-PARTY.txt" $target >&2
if [ -z "$ending" ]; then
  "$program" man "$root/man/man1" >&2
  "$program" completions bash >"$root/completions/subwell.bash"
  "$program" completions zsh >"$root/completions/_subwell"
  "$program" completions fish >"$root/completions/subwell.fish"
else
  # People look into the frames, and measure them by hand.
  cp -r sample-calibration/*/ "$root/sample-calibration/"
fi
case $native in *.exe) rmdir "$root/completions" ;;
  *) "$native" completions powershell >"$root/completions/subwell.ps1" ;;
esac
git archive --format=tar --prefix="subwell-$version/" HEAD | gzip -n9 >"$root/source/subwell-$version.tar.gz"
cp "$(python3 tools/check_dependencies.py --source rawler)" "$root/source/"
cat >"$root/source/README.txt" <<'TEXT'
The camera raw decoder in this program, rawler, is under the GNU Lesser General Public License 2.1, whose text is in
THIRD-PARTY.txt. Its source and that of the program lie here. To build the program with a changed decoder, unpack both
and run, with the paths of your machine:

    cargo build --release --config 'patch.crates-io.rawler.path="PATH/TO/rawler"'

Without the decoder, and without camera raw files: cargo build --release --no-default-features --features cli
TEXT

# The same input makes the same bytes: names in order, one owner, the time of the commit.
stamp=$(git log -1 --format=%ct)
if [ -z "$ending" ]; then
  archive="$name.tar.gz"
  tar --sort=name --owner=0 --group=0 --numeric-owner --mtime="@$stamp" -C "$stage" -cf - "$name" | gzip -n9 >"$out/$archive"
else
  archive="$name.zip"
  python3 - "$stage" "$out/$archive" "$stamp" <<'END'
import pathlib
import sys
import time
import zipfile

stage, archive, stamp = pathlib.Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as file:
    for path in sorted(path for path in stage.rglob("*") if path.is_file()):
        entry = zipfile.ZipInfo(path.relative_to(stage).as_posix(), time.gmtime(stamp)[:6])
        entry.compress_type = zipfile.ZIP_DEFLATED
        file.writestr(entry, path.read_bytes())
END
fi
(cd "$out" && sha256sum "$archive" >"$archive.sha256")
echo "$out/$archive"
