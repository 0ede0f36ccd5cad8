"""Runs the mutants that switch.py wrote: first which mutants each test reaches, then for each mutant the tests that reach it, until one fails.

    python3 run.py reach TESTS REACHED.json [WORKERS [NAMES]]
    python3 run.py try TESTS REACHED.json MUTANTS.json VERDICTS.json FILES SHARE [WORKERS]
    python3 run.py tell MUTANTS.json VERDICTS.json

TESTS is a test binary that was built from the written sources, run in the current folder; FILES a pattern that the mutants' files match; SHARE the part of
them that is drawn (0 to 1, by a fixed seed); NAMES a pattern for the tests that are asked. A second `try` with another binary and the same verdicts runs what the first missed.
"""

import collections
import concurrent.futures
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time

#: A mutant may make a test slower by this factor, and by this time in seconds, before it counts as caught by the clock.
SLOWER, SLOWER_S = 15, 20
#: Tests that are run one by one, quickest first, before the others are run in packs of some seconds.
SINGLY, PACK_S, PACK = 4, 5, 60


def run(binary, tests, environment, limit_s):
    """Whether tests pass: True, False, or None where they take too long."""
    command = [binary, "--exact", *tests, "--test-threads=1"]
    try:
        done = subprocess.run(command, env={**os.environ, **environment}, capture_output=True, timeout=limit_s)
        return done.returncode == 0
    except subprocess.TimeoutExpired:
        return None


def reached(binary, test):
    with tempfile.TemporaryDirectory() as folder:
        path, began = os.path.join(folder, "numbers"), time.time()
        passes = run(binary, [test], {"MUTANTS_REACHED": path}, 1200)
        numbers = []
        if os.path.exists(path):
            with open(path) as file:
                numbers = sorted({int(number) for number in file.read().split()})
        return test, passes, time.time() - began, numbers


def reach(binary, out, workers=2, names=""):
    listed = subprocess.run([binary, "--list"], capture_output=True, text=True, check=True).stdout
    tests = [line.removesuffix(": test") for line in listed.splitlines() if line.endswith(": test")]
    tests = [test for test in tests if re.search(names, test)]
    with concurrent.futures.ThreadPoolExecutor(int(workers)) as pool:
        found = list(pool.map(lambda test: reached(binary, test), tests))
    for test, passes, _, _ in found:
        if not passes:
            print(f"{test} fails without a mutant, and is left out")
    with open(out, "w") as file:
        json.dump({test: [seconds, numbers] for test, passes, seconds, numbers in found if passes}, file)


def verdict(binary, number, tests):
    """What the tests of a mutant, (seconds, name) by their time, make of it."""
    packs, rest = [[test] for test in tests[:SINGLY]], tests[SINGLY:]
    for test in rest:
        if packs[SINGLY:] and sum(seconds for seconds, _ in packs[-1]) + test[0] < PACK_S and len(packs[-1]) < PACK:
            packs[-1].append(test)
        else:
            packs.append([test])
    for pack in packs:
        limit_s = max(SLOWER_S, SLOWER * sum(seconds for seconds, _ in pack))
        passes = run(binary, [name for _, name in pack], {"MUTANT": str(number)}, limit_s)
        if not passes:
            return ["caught" if passes is False else "too slow", pack[0][1]]
    return ["missed" if tests else "not reached", None]


def attempt(binary, reached_by, mutants, out, files, share, workers=2):
    with open(reached_by) as file:
        tests = json.load(file)
    with open(mutants) as file:
        listed = json.load(file)
    verdicts = {}
    if os.path.exists(out):
        with open(out) as file:
            verdicts = json.load(file)
    of_place = collections.defaultdict(list)
    for name, (seconds, numbers) in tests.items():
        for number in numbers:
            of_place[number].append((seconds, name))
    numbers = [number for number in listed["first"] if re.search(files, listed["mutants"][number]["file"])]
    random.Random(7).shuffle(numbers)
    numbers = numbers[: round(len(numbers) * float(share))]
    left = [number for number in numbers if verdicts.get(number, ["missed"])[0] in ("missed", "not reached")]

    def one(number):
        verdicts[number] = verdict(binary, number, sorted(of_place[listed["first"][number]]))

    with concurrent.futures.ThreadPoolExecutor(int(workers)) as pool:
        for done, _ in enumerate(pool.map(one, left), 1):
            if done % 50 == 0 or done == len(left):
                with open(out, "w") as file:
                    json.dump(dict(verdicts), file)


def tell(mutants, out):
    with open(mutants) as file:
        listed = json.load(file)["mutants"]
    with open(out) as file:
        verdicts = json.load(file)
    rooms = collections.defaultdict(collections.Counter)
    for number, (word, _) in verdicts.items():
        rooms[re.match(r"src/(?:network|measure|[^/]+/[^/.]+)", listed[number]["file"])[0]][word] += 1
    for room, words in sorted(rooms.items()):
        caught = words["caught"] + words["too slow"]
        print(f"{room:28} {caught:5} of {words.total():5}  {100 * caught / words.total():5.1f} %  {dict(words)}")
    for number, (word, _) in sorted(verdicts.items(), key=lambda item: listed[item[0]]["name"]):
        if word in ("missed", "not reached"):
            print(f"{word:12}{listed[number]['name']}")


if __name__ == "__main__":
    {"reach": reach, "try": attempt, "tell": tell}[sys.argv[1]](*sys.argv[2:])
