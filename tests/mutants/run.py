"""Runs the mutants that switch.py wrote: first which mutants each test reaches, then for each mutant the tests that reach it, until one fails.

    python3 run.py reach TESTS REACHED.json [WORKERS [NAMES]]
    python3 run.py try MUTANTS.json VERDICTS.json FILES SHARE SECONDS TESTS REACHED.json [TESTS REACHED.json ...]
    python3 run.py tell MUTANTS.json VERDICTS.json

TESTS is a test binary that was built from the written sources, run in the current folder; the first that is named is asked first, the next what it missed. FILES is a pattern
that the mutants' files match; SHARE the part of them that is drawn (0 to 1), in the order of a seed (MUTANTS_SEED), so that those run in the SECONDS given are a fair draw
too; NAMES a pattern for the tests that are asked. A second `try` with the same verdicts runs again what was missed.
"""

import collections
import concurrent.futures
import contextlib
import itertools
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time

#: A mutant may make a test slower by this factor, and by this time in seconds, before it counts as caught by the clock.
SLOWER, SLOWER_S = 15, 20
#: Address space in bytes that a mutant may take before it counts as caught.
MEMORY = 6 << 30
#: Seconds that the tests of one mutant may take in all, quickest first; those beyond are not run, and it counts as missed.
TESTS_S = float(os.environ.get("MUTANTS_TESTS_S", 60))
#: By which the mutants are drawn.
SEED = int(os.environ.get("MUTANTS_SEED", 7))
#: Tests that are run one by one, quickest first, before the others are run in packs of some seconds.
SINGLY, PACK_S, PACK = 4, 5, 60


def bound():
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def run(binary, tests, environment, limit_s):
    """Whether tests pass: True, False, or None where they take too long. What they started ends with them."""
    command = [binary, "--exact", *tests, "--test-threads=1"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, env={**os.environ, **environment}, start_new_session=True, preexec_fn=bound, **quiet)
    try:
        return process.wait(limit_s) == 0
    except subprocess.TimeoutExpired:
        return None
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def reached(binary, test):
    with tempfile.TemporaryDirectory() as folder:
        path, began = os.path.join(folder, "numbers"), time.time()
        passes = run(binary, [test], {"MUTANTS_REACHED": path}, TESTS_S)
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
            print(f"{test} fails without a mutant or takes too long, and is left out", flush=True)
    with open(out, "w") as file:
        json.dump({test: [seconds, numbers] for test, passes, seconds, numbers in found if passes}, file)


def verdict(binary, number, tests):
    """What the tests of a mutant, (seconds, name) by their time, make of it."""
    taken = itertools.accumulate(seconds for seconds, _ in tests)
    tests = [test for test, until in zip(tests, taken) if until <= TESTS_S]
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


def attempt(mutants, out, files, share, seconds, *binaries):
    """`binaries`: in turn a test binary and what its tests reach. What is left of the draw when the time is over was not drawn."""
    with open(mutants) as file:
        listed = json.load(file)
    verdicts = {}
    if os.path.exists(out):
        with open(out) as file:
            verdicts = json.load(file)
    of_place = []
    for binary, reached_by in zip(binaries[::2], binaries[1::2]):
        places = collections.defaultdict(list)
        with open(reached_by) as file:
            for name, (taken, numbers) in json.load(file).items():
                for number in numbers:
                    places[number].append((taken, name))
        of_place.append((binary, places))
    numbers = [number for number in listed["first"] if re.search(files, listed["mutants"][number]["file"])]
    random.Random(SEED).shuffle(numbers)
    until = time.time() + float(seconds)
    for done, number in enumerate(numbers[: round(len(numbers) * float(share))]):
        if time.time() > until:
            print(f"{done} of {len(numbers)} mutants of {files} were run in the time given", flush=True)
            break
        if verdicts.get(number, ["missed"])[0] in ("missed", "not reached"):
            found = ["not reached", None]
            for binary, places in of_place:
                tests = sorted(places[listed["first"][number]])
                found = verdict(binary, number, tests) if tests else found
                if found[0] in ("caught", "too slow"):
                    break
            verdicts[number] = found
        if done % 20 == 0:
            with open(out, "w") as file:
                json.dump(verdicts, file)
    with open(out, "w") as file:
        json.dump(verdicts, file)


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
