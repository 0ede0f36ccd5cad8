#!/usr/bin/env python3
"""Whether files of src/ import each other in a circle, inside a room or across rooms.

    tests/circles.py

A file imports another where it names something that the other defines, whichever re-exports lie between: by a `use`, or by a path in the
code. Comments and tests do not count, nor do lines of the file of a folder that only hand on what its files define. Exit status 1 where
there is a circle; each is shown with the names that tie it.
"""
import collections
import pathlib
import re
import sys

SOURCE = pathlib.Path(__file__).resolve().parent.parent / "src"
FACES = ("lib", "main", "inside", "errors")
TESTS = re.compile(r"^( *)#\[cfg\((?:all\()?test\b.*?\]\n(?: *#\[.*\n)* *(?:pub(?:\([a-z]+\))? )?mod \w+ \{.*?^\1\}\n", re.M | re.S)
COMMENT = re.compile(r"^\s*//.*$|(?<=[\s;{},])//[^\"\n]*$", re.M)
STRING = re.compile(r'"(?:[^"\\]|\\.)*"', re.S)
USE = re.compile(r"^\s*(pub(?:\([a-z: ]+\))? )?use ([^;]+);", re.M)
DEFINED = re.compile(r"^(?:pub(?:\([a-z: ]+\))? )?(?:const |unsafe |async |extern \"C\" )*(?:fn|struct|enum|union|trait|const|static|type|macro_rules!) (\w+)", re.M)
PATH = re.compile(r"(?<![\w:.$])((?:crate|self|super|[a-z]\w*)(?:::\w+)+)")


def leaves(text):
    """The paths of a `use` tree, each with the name that it gives: `a::{b, c as d}` is (a::b, b), (a::c, d)."""
    depth, parts, last = 0, [], 0
    for at, letter in enumerate(text):
        depth += (letter == "{") - (letter == "}")
        if letter == "," and depth == 0:
            parts.append(text[last:at])
            last = at + 1
    for part in [*parts, text[last:]]:
        part = part.strip()
        head, brace, rest = part.partition("{")
        if brace:
            yield from ((head + path, name) for path, name in leaves(rest.rstrip().removesuffix("}")))
        elif part:
            path, _, name = part.partition(" as ")
            path = path.removesuffix("::self")
            yield path, name.strip() or path.split("::")[-1]


class File:
    def __init__(self, path):
        steps = list(path.relative_to(SOURCE).with_suffix("").parts)
        self.module = tuple(steps[:-1] if steps[-1] == "mod" else steps)
        self.name = str(path.relative_to(SOURCE.parent))
        text = STRING.sub('""', COMMENT.sub("", TESTS.sub("", path.read_text())))
        self.defined = set(DEFINED.findall(text))
        self.uses = [(bool(public), path, name) for public, tree in USE.findall(text) for path, name in leaves(" ".join(tree.split()))]
        self.paths = set(PATH.findall(USE.sub("", text)))
        self.code = USE.sub("", text)


def rooted(path, module, local):
    """The segments of a path from the root of the crate, or none where it is of another crate."""
    steps, at = path.replace(" ", "").split("::"), list(module)
    if steps[0] == "crate":
        return steps[1:]
    if steps[0] == "self":
        return at + steps[1:]
    if steps[0] == "super":
        while steps and steps[0] == "super":
            at, steps = at[:-1], steps[1:]
        return at + steps
    if steps[0] in local:
        return list(local[steps[0]]) + steps[1:]
    return at + steps if tuple(at + steps[:1]) in FILES else None


def homes(steps, seen=()):
    """The files behind what a rooted path names, each with the name: those that hand it on and define things of their own, and the one
    that defines it; none where it is only a module."""
    for cut in range(len(steps), -1, -1):
        if tuple(steps[:cut]) in FILES:
            file, rest = FILES[tuple(steps[:cut])], steps[cut:]
            break
    else:
        return []
    if not rest:
        return []
    if rest[0] not in file.defined and (file, rest[0]) not in seen:
        for _, path, name in file.uses:
            whole = rooted(path, file.module, {})
            if whole is not None and name == rest[0]:
                behind = homes([*whole, *rest[1:]], (*seen, (file, rest[0])))
                return ([(file, rest[0])] if file.defined else []) + behind
            if whole is not None and name == "*":
                behind = homes([*whole[:-1], *rest], (*seen, (file, rest[0])))
                if behind and rest[0] in behind[-1][0].defined:
                    return behind
    return [(file, rest[0])]


FILES = {}
for path in sorted(SOURCE.rglob("*.rs")):
    parts = path.relative_to(SOURCE).parts
    if path.stem in FACES and len(parts) == 1 or path.name in ("tests.rs", "fixture.rs", "trial.rs") or "tests" in parts[:-1]:
        continue
    file = File(path)
    FILES[file.module] = file

ARROWS = collections.defaultdict(lambda: collections.defaultdict(set))


def draw(file, steps):
    """The arrows of a file that names a rooted path. What a folder's own file gives to the files inside is no arrow."""
    for other, name in homes(steps):
        if file.module[: len(other.module)] != other.module:
            ARROWS[file][other].add(name)


for file in FILES.values():
    local = {}
    for public, path, name in file.uses:
        whole = rooted(path, file.module, {})
        if whole is None:
            continue
        if tuple(whole) in FILES:
            local[name] = whole
        if not (public and not re.search(rf"\b{name}\b", file.code)):
            draw(file, whole)
    for path in file.paths:
        if whole := rooted(path, file.module, local):
            draw(file, whole)


def circles():
    """The strongly connected sets of more than one file (Tarjan)."""
    index, low, stack, found, count = {}, {}, [], [], [0]

    def visit(file):
        index[file] = low[file] = count[0]
        count[0] += 1
        stack.append(file)
        for other in sorted(ARROWS[file], key=lambda one: one.name):
            if other not in index:
                visit(other)
                low[file] = min(low[file], low[other])
            elif other in stack:
                low[file] = min(low[file], index[other])
        if low[file] == index[file]:
            circle = []
            while not circle or circle[-1] is not file:
                circle.append(stack.pop())
            if len(circle) > 1:
                found.append(sorted(circle, key=lambda one: one.name))

    for file in FILES.values():
        if file not in index:
            visit(file)
    return found


sys.setrecursionlimit(10_000)
found = circles()
for circle in found:
    print(f"{len(circle)} files import each other in a circle:")
    for file in circle:
        for other in circle:
            if names := ARROWS[file].get(other):
                print(f"  {file.name} takes from {other.name}: {', '.join(sorted(names))}")
sys.exit(bool(found))
