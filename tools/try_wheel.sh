#!/usr/bin/env bash
# Installs a wheel in an empty environment and tries it there: tools/try_wheel.sh FILE.whl
set -euo pipefail
[ $# -eq 1 ] || { echo "usage: $0 FILE.whl" >&2; exit 2; }
wheel=$(realpath "$1")
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
python3 -m venv "$work/venv"
"$work/venv/bin/pip" install --quiet "$wheel" mypy
# Every name is typed, as the module promises.
"$work/venv/bin/mypy" --strict --cache-dir "$work/mypy" tools/python/subwell
cp -r sample-calibration sample-calibration/*.toml "$work/"
sed -n '/^```python$/,/^```$/p' README.md | sed '1d;$d' >"$work/example.py"
test -s "$work/example.py"
repository=$PWD
cd "$work"
PATH="$work/venv/bin:/usr/bin:/bin"
python example.py
subwell --version
python "$repository/tools/python/try_wheel.py" sample-calibration "$work"
