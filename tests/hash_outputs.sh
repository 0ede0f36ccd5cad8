#!/usr/bin/env bash
# Hashes of everything that a program makes of the examples, in every format: to hold two builds against each other
# when a change must not change any output.
#   tests/hash_outputs.sh target/release/standoff > before.txt ; ... ; tests/hash_outputs.sh target/release/standoff | diff before.txt -
# STANDOFF_FIELD_DATA, where set, adds a job over real shots.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
formats=(--format gpkg --format geojson --format shp --format fgb --format csv --format dxf)
for job in examples/*/*.toml; do
  case "$job" in *catalogue*) continue ;; esac
  name=${job#examples/}; name=${name//\//-}; name=${name%.toml}
  if ! "$program" map "$job" --out "$out/$name" "${formats[@]}" >"$out/$name.terminal" 2>"$out/$name.messages"; then
    echo "status $? of $job" >>"$out/$name.terminal"
  fi
  sed -i "s|$out|OUT|g" "$out/$name.terminal" "$out/$name.messages"
  "$program" check "$job" >"$out/$name.check" 2>&1 || true
done
if [ -n "${STANDOFF_FIELD_DATA:-}" ]; then
  cp -r "$STANDOFF_FIELD_DATA" "$out/field" && chmod -R u+w "$out/field"
  "$program" init "$out/field/bases.csv" "$out/field/shots.csv" >"$out/field.job" 2>&1 || true
  sed -i "s|$out|OUT|g" "$out/field.job"; rm -rf "$out/field"
fi
cd "$out"
# A summary names the folder of a run in no byte; the program's version is the same in both.
find . -type f | sort | xargs sha256sum
