#!/usr/bin/env python3
"""Whether each room of src/ imports from the rooms below it alone: the house of DEVELOPERS.md.

    tests/arrows.py

Every path that begins with `crate::` counts, but for those of comments and of tests. Exit status 1 where one goes up.
"""
import pathlib
import re
import sys

# From the top; rooms of one line do not know of each other.
ROOMS = [["cli"], ["run", "door"], ["review", "field"], ["output"], ["measure"], ["network"], ["shots"], ["stations"], ["intake"], ["records"], ["job"],
         ["geodesy"], ["units"], ["numeric"], ["disk"]]
LEVEL = {room: level for level, rooms in enumerate(ROOMS) for room in rooms}
TESTS = re.compile(r"^#\[cfg\((?:all\()?test\b.*?\]\n(?:pub(?:\([a-z]+\))? )?mod \w+ \{.*?^\}\n", re.M | re.S)
COMMENT = re.compile(r"^\s*//.*$", re.M)
PATH = re.compile(r"\bcrate::(\w+)|^use crate::\{(.*?)\};", re.M | re.S)

found = 0
source = pathlib.Path(__file__).resolve().parent.parent / "src"
for path in sorted(source.rglob("*.rs")):
    own = path.relative_to(source).parts[0].removesuffix(".rs")
    if own in ("lib", "main", "inside", "errors") or path.name in ("tests.rs", "fixture.rs", "trial.rs") or "tests" in path.parent.parts:
        continue
    if own not in LEVEL:
        print(f"src/{own}: a room that tests/arrows.py does not know")
        found += 1
        continue
    text = COMMENT.sub("", TESTS.sub("", path.read_text()))
    for single, several in PATH.findall(text):
        for room in [single] if single else re.findall(r"(?:^|,)\s*(\w+)", several):
            if room in LEVEL and room != own and LEVEL[room] <= LEVEL[own]:
                print(f"{path.relative_to(source.parent)}: {own} imports from {room}, which does not lie below it")
                found += 1
sys.exit(found > 0)
