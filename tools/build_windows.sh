#!/usr/bin/env bash
# Builds subwell.exe and the archive for Windows, on Linux: tools/build_windows.sh DIR [NATIVE]
#
# NATIVE is this system's own program of the same source, which writes manual pages and completions. The FITS library's
# build script is for Unix shells and builds for the machine it runs on; here its C files are compiled for Windows one by
# one. Without the cross compiler (Debian: gcc-mingw-w64-x86-64) or Rust's target it says so and makes nothing.
set -euo pipefail
[ $# -ge 1 ] || { echo "usage: $0 DIR [NATIVE]" >&2; exit 2; }
mkdir -p "$1"
out=$(realpath "$1")
native=${2:+$(realpath "$2")}
cd "$(dirname "$0")/.."

target=x86_64-pc-windows-gnu
gcc=x86_64-w64-mingw32-gcc
skip() { echo "SKIPPED, no program for Windows: $*"; exit 0; }
command -v $gcc >/dev/null || skip "$gcc is not here (apt install gcc-mingw-w64-x86-64)"
command -v pkg-config >/dev/null || skip 'pkg-config is not here (apt install pkg-config)'
rustc --print target-libdir --target $target 2>/dev/null | xargs -r test -d || rustup target add $target ||
  skip "Rust's target $target cannot be had here"

targets=$(cargo metadata --format-version 1 --no-deps | python3 -c 'import json, sys; print(json.load(sys.stdin)["target_directory"])')
c=$targets/$target/cfitsio
library() {
  local source
  source=$(cargo metadata --format-version 1 --locked | python3 -c 'import json, pathlib, sys
print(*[pathlib.Path(p["manifest_path"]).parent for p in json.load(sys.stdin)["packages"] if p["name"] == "fitsio-sys"])')
  # Another version of the library, or of the compiler, is built anew.
  local state="$source, $($gcc --version | head -n 1)"
  [ "$(cat "$c/state" 2>/dev/null)" != "$state" ] || return 0
  rm -rf "$c"
  mkdir -p "$c/source" "$c/objects" "$c/include" "$c/lib"
  (cd "$source/ext/cfitsio" && cp -r ./*.c ./*.h zlib "$c/source/")
  cp "$c"/source/*.h "$c/include/"
  # Not part of the library: its own programs and examples, its face for Fortran, and what asks for a network.
  local others='f77_wrap.*|fpack|fpackutil|funpack|fitscopy|imcopy|cookbook|iter_.*|smem|speed|testprog|windumpexts'
  others="$others|vmsieee|drvrsmem|drvrgsiftp|drvrnet"
  (
    cd "$c/source"
    find . -maxdepth 2 -name '*.c' | sort | grep -vE "/($others)\.c\$" |
      xargs -P "$(nproc)" -I{} sh -c "$gcc -O2 -w -D_REENTRANT -I. -Izlib -c {} -o ../objects/\$(basename {} .c).o"
  )
  x86_64-w64-mingw32-ar rcs "$c/lib/libcfitsio.a" "$c"/objects/*.o
  # Threads from the archive, not from a library that nobody on Windows has.
  cp "$($gcc -print-file-name=libwinpthread.a)" "$c/lib/libpthread.a"
  # A file that is missed is missed now, and not when the program is linked in the end.
  echo 'int main(void) { return 0; }' >"$c/whole.c"
  $gcc -o "$c/whole.exe" "$c/whole.c" -Wl,--whole-archive "$c/lib/libcfitsio.a" -Wl,--no-whole-archive "$c/lib/libpthread.a"
  cat >"$c/lib/cfitsio.pc" <<PC
Name: cfitsio
Description: FITS library, for Windows
Version: $(sed -n 's/^#define CFITSIO_VERSION *\([0-9.]*\).*/\1/p' "$c/include/fitsio.h")
Libs: -L$c/lib -lcfitsio -lpthread
Cflags: -I$c/include
PC
  echo "$state" >"$c/state"
}
library

PKG_CONFIG_ALLOW_CROSS=1 PKG_CONFIG_LIBDIR="$c/lib" PKG_CONFIG_PATH="$c/lib" \
  cargo build --release --locked --target $target
program="$targets/$target/release/subwell.exe"
# What Windows has of its own, and nothing else.
foreign=$(x86_64-w64-mingw32-objdump -p "$program" | sed -n 's/^\tDLL Name: //p' | grep -iE '^lib' || true)
[ -z "$foreign" ] || { echo "subwell.exe asks for $foreign" >&2; exit 1; }
tools/make_archive.sh "$program" "$out" ${native:+"$native"}
