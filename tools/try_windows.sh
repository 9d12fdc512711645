#!/usr/bin/env bash
# Tries the archive for Windows under wine: tools/try_windows.sh ARCHIVE.zip NATIVE
#
# NATIVE is this system's own program of the same source: what it answers, subwell.exe has to answer too, in numbers to six
# digits: the C libraries of the two systems round logarithms and powers differently in the last one, and fits carry that on.
# wine is not Windows: what is drawn, opened by a double click or typed into a console is not tried here.
set -euo pipefail
[ $# -eq 2 ] || { echo "usage: $0 ARCHIVE.zip NATIVE" >&2; exit 2; }
archive=$(realpath "$1")
native=$(realpath "$2")
skip() { echo "SKIPPED, the program for Windows is not tried: $*"; exit 0; }
wine=$(command -v /usr/lib/wine/wine64 wine64 wine | head -n 1) || skip 'wine is not here (apt install wine64)'

work=$(mktemp -d)
export WINEPREFIX="$work/prefix" WINEDEBUG=-all LC_ALL=C.UTF-8
# No dialogs, and no browser of this machine.
export WINEDLLOVERRIDES='mscoree,mshtml=;winebrowser.exe=d'
unset DISPLAY WAYLAND_DISPLAY
finish() {
  # Only what runs in this prefix.
  ${wine%/*}/wineserver64 -k 2>/dev/null || wineserver -k 2>/dev/null || true
  rm -rf "$work"
}
trap finish EXIT
say() { printf -- '--- %s\n' "$*"; }
fail() { echo "FAILED under wine: $*" >&2; exit 1; }

say 'a Windows of its own'
timeout 300 "$wine" wineboot --init >/dev/null 2>&1 || skip 'wine does not start here'

# A name with spaces and letters that are not in ASCII, as the folder of many a user has.
home="$WINEPREFIX/drive_c/users/Jürgen"
mkdir -p "$home/Meine Aufnahmen" "$home/Temp"
python3 -m zipfile -e "$archive" "$home/Meine Aufnahmen"
cd "$home/Meine Aufnahmen"/subwell-*
here='C:\users\Jürgen\Meine Aufnahmen'
export TEMP="C:\\users\\Jürgen\\Temp" TMP="C:\\users\\Jürgen\\Temp"
for file in LICENSE-MIT LICENSE-APACHE THIRD-PARTY.txt README.md pictures/planner.png sample-calibration/garden-night.toml; do
  test -s "$file" || fail "the archive lacks $file"
done
grep -q 'LESSER GENERAL PUBLIC LICENSE' THIRD-PARTY.txt || fail 'the licence of the raw decoder is not in the archive'

# Windows has had this library since 2012; some builds of wine lack it.
if ! find /usr/lib /usr/local/lib -name 'bcryptprimitives.dll*' 2>/dev/null | grep -q .; then
  cat >"$work/random.c" <<'END'
#include <windows.h>
BOOLEAN NTAPI SystemFunction036(PVOID data, ULONG length);
__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE data, SIZE_T length) { return SystemFunction036(data, (ULONG)length); }
END
  x86_64-w64-mingw32-gcc -shared -o bcryptprimitives.dll "$work/random.c" -ladvapi32
fi

alike="$work/alike.py"
cat >"$alike" <<'END'
import json
import sys
import tomllib


def read(name):
    text = open(name, encoding="utf-8").read()
    return tomllib.loads(text) if name.endswith(".toml") else json.loads(text)


def differ(a, b, way="."):
    """Where two documents differ by more than the sixth digit, or by 1e-12 where there is next to nothing."""
    if isinstance(a, dict) and isinstance(b, dict) and a.keys() == b.keys():
        return [found for key in a for found in differ(a[key], b[key], f"{way}/{key}")]
    if isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        return [found for i, (x, y) in enumerate(zip(a, b)) for found in differ(x, y, f"{way}/{i}")]
    numbers = all(isinstance(x, (int, float)) and not isinstance(x, bool) for x in (a, b))
    if numbers and abs(a - b) <= 1e-6 * max(abs(a), abs(b)) + 1e-12:
        return []
    return [] if a == b else [f"{way}: {a!r} and {b!r}"]


found = differ(*map(read, sys.argv[1:]))
print("\n".join(found[:20]))
sys.exit(bool(found))
END

exe() { timeout 300 "$wine" ./subwell.exe "$@"; }
# Where the answer goes to a pipe, signs beyond ASCII are words on both.
linux() { LC_ALL=C "$native" "$@"; }
same() {
  local name=$1
  shift
  exe "$@" >"$work/exe" 2>"$work/exe.err" || fail "$name: $(cat "$work/exe.err")"
  linux "$@" >"$work/native"
  if cmp -s "$work/exe" "$work/native"; then
    say "$name: the same $(wc -c <"$work/exe") bytes"
    return
  fi
  python3 "$alike" "$work/exe" "$work/native" || fail "$name differs"
  say "$name: the same to six digits"
}

same 'demo' demo
same 'frames of a folder' frames sample-calibration/cooled-mono --json
for set in cooled-mono uncooled-colour; do
  same "measure $set" measure "sample-calibration/$set" --json
done
cp sample-calibration/*.toml .
"$native" measure sample-calibration/cooled-mono --out camera.toml >/dev/null
"$native" measure sample-calibration/uncooled-colour --out colour-camera.toml >/dev/null
same 'plan' plan garden-night.toml --json
same 'plan in colour' plan garden-night-colour.toml --json
same 'cooling' cooling garden-night.toml --json

say 'names with spaces, letters beyond ASCII, backslashes'
exe measure "$here\\$(basename "$PWD")\\sample-calibration\\cooled-mono" --out "Profil für die Nacht.toml" >/dev/null
python3 "$alike" camera.toml "Profil für die Nacht.toml" || fail 'the profile by another name differs'
mkdir -p 'Nächte/erste Nacht'
cp sample-calibration/cooled-mono/bias/bias_000[12].fits.fz 'Nächte/erste Nacht'
same 'frames in a folder with such a name' frames 'Nächte/erste Nacht' --json
exe frames 'Nächte\erste Nacht' --json >"$work/exe"
cmp "$work/exe" "$work/native" || fail 'a backslash makes a difference'
exe simulate sample-calibration/cooled-mono/sensor.toml --compress --out 'Gemachtes für später' >/dev/null
linux simulate sample-calibration/cooled-mono/sensor.toml --compress --out "$work/made" >/dev/null
diff -r 'Gemachtes für später' "$work/made" || fail 'made-up frames differ'

say 'words that are wrong'
code=0
exe plan 'no such night.toml' >/dev/null 2>"$work/exe.err" || code=$?
[ $code -eq 2 ] && grep -q 'no such night.toml' "$work/exe.err" || fail "a missing night: code $code, $(cat "$work/exe.err")"

say 'a decoding worker that dies costs the files that it was asked about'
exe frames sample-calibration/cooled-mono --json >"$work/exe" &
run=$!
while kill -0 $run 2>/dev/null; do
  for worker in $(grep -l -a -s -e '--decode-worker' /proc/[0-9]*/cmdline | cut -d/ -f3); do
    # A worker of this prefix and no other's.
    if { tr '\0' '\n' <"/proc/$worker/environ"; } 2>/dev/null | grep -qxF "WINEPREFIX=$WINEPREFIX"; then
      kill -9 "$worker" 2>/dev/null || true
    fi
  done
  sleep 0.05
done
wait $run || fail 'the program went down with its workers'
python3 - "$work/exe" <<'END'
import json
import sys

rejected = json.load(open(sys.argv[1], encoding="utf-8"))["rejected"]
dead = [file for file in rejected if "crashed" in file["reason"]]
assert dead and all(file["code"] == "unreadable" for file in dead), rejected
print(f"    {len(dead)} files of it")
END

say 'the page, asked for and by a start without any word'
for words in 'page --no-open --port 0' ''; do
  # shellcheck disable=SC2086
  "$wine" ./subwell.exe $words >"$work/said" 2>/dev/null </dev/null &
  run=$!
  python3 - "$work/said" <<'END'
import json
import pathlib
import re
import sys
import time
import urllib.request

said = pathlib.Path(sys.argv[1])
for _ in range(1200):
    found = re.search(r"http://127\.0\.0\.1:(\d+)/#(\w+)", said.read_text(encoding="utf-8"))
    if found:
        break
    time.sleep(0.1)
port, token = found.groups()
origin = f"http://127.0.0.1:{port}"
page = urllib.request.urlopen(f"{origin}/", timeout=120).read()
assert b"<html" in page, page[:200]
headers = {"X-Subwell-Token": token, "Origin": origin, "Content-Type": "application/json"}
body = json.dumps({"path": "garden-night.toml"}).encode()
request = urllib.request.Request(f"{origin}/api/open", body, headers)
opened = json.load(urllib.request.urlopen(request, timeout=120))
assert "luminance" in opened["text"], opened
END
  kill $run
  wait $run 2>/dev/null || true
done
say 'all of it works under wine'
