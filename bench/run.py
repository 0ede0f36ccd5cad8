"""Time standoff beside the baselines, as whole processes, and check that the results agree.

Every task runs once to warm up, then N times, the tasks taking turns. Wall time, processor time
(user and system) and peak memory are the operating system's own account of each process. This
script stays small (standard library alone), since a child's peak memory is never less than its
parent's. Tables are Markdown.
"""

import argparse
import importlib.util
import os
import platform
import shutil
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

BENCH = Path(__file__).resolve().parent
ROOT = BENCH.parent
MEBIBYTE = 1024 * 1024


@dataclass
class Task:
    """A command that is timed, and what it writes."""

    name: str
    command: list
    out: Path


@dataclass
class Usage:
    """What one process took; `inner` is the time that a baseline prints of its essential part."""

    wall: float
    cpu: float
    memory: int
    inner: float | None


def remove(path):
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def measure(task):
    """Run a task once on a clean place and a settled disk."""
    remove(task.out)
    os.sync()
    start = time.perf_counter()
    process = subprocess.Popen(task.command, stdout=subprocess.PIPE, text=True)
    output = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.stdout.close()
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        sys.exit(f"{task.name}: exit status {process.returncode}: {' '.join(map(str, task.command))}")
    inner = [float(line.split()[1]) for line in output.splitlines() if line.startswith("timed ")]
    unit = 1 if sys.platform == "darwin" else 1024  # of ru_maxrss
    return Usage(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss * unit, next(iter(inner), None))


def python(script, *arguments):
    return [sys.executable, BENCH / script, *arguments]


def standoff(program, job, out, name="standoff"):
    options = ["--format", "gpkg", "--layers", "features,bases,ledger", "--quiet", "--out", out]
    return Task(name, [program, "map", job, *options], out)


def make_data(folder, rows, each=1):
    """Some 1,000 shots a base; returns the size of the shots in bytes."""
    bases = max(1, rows // 1000)
    subprocess.run(python("make_data.py", str(rows), str(bases), folder, "--each", str(each)), check=True)
    return (folder / "shots.csv").stat().st_size


def tasks(data, out, program):
    """The tasks in the order that they take turns in; the writers copy what stands before them."""
    script = out / "script.gpkg"
    chosen = [Task("script", python("script_baseline.py", data, script), script)]
    if importlib.util.find_spec("pyarrow"):
        arrow = out / "script-arrow.gpkg"
        command = python("script_baseline.py", data, arrow, "--arrow")
        chosen.append(Task("script, written in columns", command, arrow))
    finished = {"script": script}
    if program:
        chosen.insert(0, standoff(program, data / "job.toml", out / "standoff"))
        finished["standoff"] = out / "standoff" / "bench.gpkg"
    for whose, source in finished.items():
        copy = out / "copy.sqlite"
        name = f"bare SQLite insert, {whose}'s rows"
        chosen.append(Task(name, python("sqlite_baseline.py", source, copy), copy))
        copy = out / "copy.gpkg"
        name = f"GDAL feature by feature, {whose}'s rows"
        chosen.append(Task(name, python("gdal_baseline.py", source, copy), copy))
    return chosen


def in_turn(chosen, rounds):
    """What each task took in each round, after one warm-up."""
    runs = {task.name: [] for task in chosen}
    for turn in range(rounds + 1):
        for task in chosen:
            usage = measure(task)
            if turn > 0:
                runs[task.name].append(usage)
    return runs


def compare(data, out, program, rows, rounds):
    size = make_data(data, rows)
    print(f"\n{rows:,} shots, {size / 1e6:.0f} MB of text; median of {rounds}, (least to greatest)\n")
    chosen = tasks(data, out, program)
    runs = in_turn(chosen, rounds)
    print_comparison(runs)
    if program:
        check = standoff(program, data / "job-fixed.toml", out / "fixed", "standoff, fixed declination")
        measure(check)
        print("\nSame declination, no refraction, standoff against script: ", end="", flush=True)
        subprocess.run(python("agree.py", check.out / "bench.gpkg", out / "script.gpkg"), check=True)


def shapes(folder, program, rows, rounds):
    """The run that asks for nothing special beside the three layers, features shot five times each, a network of 100,000 readings."""
    once, five = folder / "compare", folder / "five"
    make_data(five, rows, 5)
    out = folder / "out"

    def default(name, data):
        return Task(name, [program, "map", data / "job.toml", "--quiet", "--out", out / "default"], out / "default")

    chosen = [
        standoff(program, once / "job.toml", out / "standoff", "three layers"),
        default("default run: GeoPackage with all layers, page", once),
        standoff(program, five / "job.toml", out / "standoff", "three layers, features shot five times"),
        default("default run, features shot five times", five),
    ]
    print(f"\nstandoff alone, {rows:,} shots; median of {rounds}, after one warm-up\n")
    print("| run | wall s | processor s | peak MiB | wall over three layers |")
    print("| --- | --: | --: | --: | --: |")
    runs = in_turn(chosen, rounds)
    median = {name: statistics.median(usage.wall for usage in usages) for name, usages in runs.items()}
    for (name, usages), first in zip(runs.items(), [0, 0, 2, 2]):
        cpu, memory = (statistics.median(getattr(usage, figure) for usage in usages) for figure in ("cpu", "memory"))
        ratio = median[name] / median[chosen[first].name]
        print(f"| {name} | {median[name]:.2f} | {cpu:.2f} | {memory / MEBIBYTE:.0f} | {ratio:.2f} |", flush=True)
    remove(five)
    print("\nA network of 100,000 readings\n", flush=True)
    subprocess.run(python("network.py", "--sizes", "100000", "--rounds", str(rounds)), check=True)


def print_comparison(runs):
    """The last two columns tell how many times standoff's figure each one takes."""

    def median(name, figure):
        return statistics.median(getattr(usage, figure) for usage in runs[name])

    print("| process | wall s | its essential part s | processor s | peak MiB | wall ratio | memory ratio |")
    print("| --- | --: | --: | --: | --: | --: | --: |")
    for name, usages in runs.items():
        walls = [usage.wall for usage in usages]
        inner = "" if usages[0].inner is None else f"{median(name, 'inner'):.2f}"
        ratios = ["", ""]
        if "standoff" in runs:
            own = {each: median("standoff", each) for each in ("wall", "memory")}
            ratios = [f"{median(name, each) / own[each]:.2f}" for each in own]
        cells = [
            name,
            f"{median(name, 'wall'):.2f} ({min(walls):.2f} to {max(walls):.2f})",
            inner,
            f"{median(name, 'cpu'):.2f}",
            f"{median(name, 'memory') / MEBIBYTE:.0f}",
            *ratios,
        ]
        print("| " + " | ".join(cells) + " |")


def scale(folder, program, sizes, rounds):
    print(f"\nstandoff alone; median of {rounds}, after one warm-up\n")
    print("| shots | wall s | processor s | µs a shot | peak MiB | bytes of peak memory a shot |")
    print("| --: | --: | --: | --: | --: | --: |")
    for rows in sizes:
        data = folder / f"scale-{rows}"
        make_data(data, rows)
        task = standoff(program, data / "job.toml", data / "out")
        runs = [measure(task) for _ in range(rounds + 1)][1:]
        remove(data)
        figures = ("wall", "cpu", "memory")
        wall, cpu, memory = (statistics.median(getattr(run, each) for run in runs) for each in figures)
        print(
            f"| {rows:,} | {wall:.2f} | {cpu:.2f} | {wall / rows * 1e6:.2f} "
            f"| {memory / MEBIBYTE:.0f} | {memory / rows:.0f} |",
            flush=True,
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    program, data = ROOT / "target/release/standoff", ROOT / "target/bench-data"
    parser.add_argument("--standoff", type=Path, default=program, metavar="PROGRAM")
    parser.add_argument("--data", type=Path, default=data, metavar="DIR", help="scratch folder")
    parser.add_argument("--rows", type=int, default=1_000_000, help="shots of the comparison")
    parser.add_argument("--rounds", type=int, default=3, metavar="N", help="timed runs of each task")
    parser.add_argument("--baselines", action="store_true", help="run the baselines without standoff")
    parser.add_argument(
        "--scale",
        type=int,
        nargs="*",
        metavar="ROWS",
        help="after the comparison, run standoff alone on these sizes; 1, 3 and 10 million if none is named",
    )
    arguments = parser.parse_args()
    if arguments.rounds < 1:
        parser.error("--rounds must be at least 1")
    if arguments.baselines and arguments.scale is not None:
        parser.error("--scale runs standoff, --baselines leaves it out")
    program = None if arguments.baselines else arguments.standoff.resolve()
    if program and not program.is_file():
        sys.exit(f"no program at {program}; build it with: cargo build --release")

    load = os.getloadavg()[0]
    print(f"{platform.system()} {platform.machine()}, {os.cpu_count()} processors, load {load:.1f} at the start")
    if load > 0.5:
        print("Other work is running here: the figures will be too high and will scatter.")
    folder = arguments.data.resolve()
    out = folder / "out"
    out.mkdir(parents=True, exist_ok=True)
    compare(folder / "compare", out, program, arguments.rows, arguments.rounds)
    if program:
        shapes(folder, program, arguments.rows, arguments.rounds)
    if arguments.scale is not None:
        sizes = arguments.scale or [1_000_000, 3_000_000, 10_000_000]
        scale(folder, program, sizes, arguments.rounds)


if __name__ == "__main__":
    main()
