#!/usr/bin/env python3
"""Files of src/ with more than 500 lines of code and functions with more than 80, tests left out: the goals of DEVELOPERS.md.

    tests/long_code.py

Lines are counted as they stand, without `#[cfg(test)] mod tests`, blank lines and comments included. Exit status 1 where any is longer.
"""
import pathlib
import re
import sys

MOST_OF_FILE, MOST_OF_FUNCTION = 500, 80
TESTS = re.compile(r"^#\[cfg\(test\)\]\n(?:pub(?:\([a-z]+\))? )?mod \w+ \{.*?^\}\n", re.M | re.S)
FUNCTION = re.compile(r"^( *)(?:pub(?:\([a-z:]+\))? )?(?:const )?(?:unsafe )?fn (\w+)")

found = 0
for path in sorted(pathlib.Path(__file__).resolve().parent.parent.joinpath("src").rglob("*.rs")):
    if path.name == "tests.rs" or "tests" in path.parent.name:
        continue
    lines = TESTS.sub("", path.read_text()).splitlines()
    name = path.relative_to(path.parents[len(path.parts) - 2 - path.parts.index("src")].parent)
    if len(lines) > MOST_OF_FILE:
        print(f"{name}: {len(lines)} lines")
        found += 1
    at = 0
    while at < len(lines):
        begun = FUNCTION.match(lines[at])
        if begun and not lines[at].rstrip().endswith(";"):
            end = at
            while end < len(lines) and lines[end] != begun[1] + "}" and not (end == at and lines[end].endswith("}")):
                end += 1
            if end - at + 1 > MOST_OF_FUNCTION:
                print(f"{name}:{begun[2]}: {end - at + 1} lines")
                found += 1
        at += 1
sys.exit(found > 0)
