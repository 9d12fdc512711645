#!/usr/bin/env bash
# The pictures of README.md, made by the program: `bash tools/make_pictures.sh target/release/subwell`.
# Needs chromium, node and npm, as tests/browser/run does.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
program=$(realpath "${1:?the program, such as target/release/subwell}")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp "$here/pictures.mjs" "$here"/../tests/browser/{browser.mjs,package.json} "$work/"
(cd "$work" && npm install --ignore-scripts --no-audit --no-fund --no-package-lock --silent)
mkdir "$work/desk"
cp -r "$here"/../sample-calibration/* "$work/desk/"
cd "$work/desk"
"$program" measure cooled-mono --out camera.toml --report camera.html --quiet >/dev/null
"$program" plan garden-night.toml --report plan.html >/dev/null
"$program" cooling garden-night.toml --report cooling.html >/dev/null
node "$work/pictures.mjs" "$program" "$here/../pictures" "$(command -v chromium || command -v chromium-browser)"
