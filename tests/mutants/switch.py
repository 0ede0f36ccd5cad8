"""Puts all mutants of a checkout into its sources at once, each behind its number, so that one build serves for all of them.

What is changed is what `cargo mutants --list --json` lists. `a + b` becomes a match on the number of the mutant at work, a body that is
replaced returns early, an arm that is deleted gets a guard. What does not compile is left out, as `cargo mutants` leaves it out.

    python3 switch.py CHECKOUT LIST.json OUT.json COMMAND...

COMMAND builds the checkout (`cargo test --no-run …`); the sources of CHECKOUT are overwritten.
"""

import collections
import json
import os
import re
import subprocess
import sys

import tree_sitter
import tree_sitter_rust

PARSER = tree_sitter.Parser(tree_sitter.Language(tree_sitter_rust.language()))
MODULE = """
#[allow(missing_docs, warnings, clippy::all)]
pub mod mutation {
    use std::sync::atomic::{AtomicU8, AtomicU32, Ordering::Relaxed};
    const UNREAD: u32 = u32::MAX;
    const RECORDING: u32 = u32::MAX - 1;
    static AT_WORK: AtomicU32 = AtomicU32::new(UNREAD);
    static REACHED: [AtomicU8; @COUNT@] = [const { AtomicU8::new(0) }; @COUNT@];
    #[cold]
    fn begin() -> u32 {
        let named = std::env::var("MUTANT").ok().and_then(|n| n.parse().ok());
        let number = named.unwrap_or(if std::env::var_os("MUTANTS_REACHED").is_some() { RECORDING } else { 0 });
        AT_WORK.store(number, Relaxed);
        number
    }
    #[cold]
    fn record(first: u32) {
        use std::io::Write;
        if REACHED[first as usize].swap(1, Relaxed) == 1 { return }
        if let Some(path) = std::env::var_os("MUTANTS_REACHED") {
            let mut file = std::fs::OpenOptions::new().create(true).append(true).open(path).expect("a place for numbers");
            file.write_all(format!("{first}\\n").as_bytes()).expect("a number written");
        }
    }
    /// The number of the mutant at work; `first` is the lowest of those that stand at this place.
    #[inline]
    pub fn on(first: u32) -> u32 {
        let mut number = AT_WORK.load(Relaxed);
        if number == UNREAD { number = begin(); }
        if number == RECORDING { record(first); }
        number
    }
}
"""
#: Where an expression must be constant, nothing can be asked at run time.
CONSTANT = ("const_item", "static_item", "macro_definition", "attribute_item", "enum_variant", "array_type")

#: What is written for a mutant: `kind` is body, expression, statement or guard; bytes of the source; the changed text.
Place = collections.namedtuple("Place", "kind start end text")


class Source:
    """A file with its syntax tree."""

    def __init__(self, root, path):
        with open(os.path.join(root, path), "rb") as file:
            self.bytes = file.read()
        self.lines = [0] + [at + 1 for at, byte in enumerate(self.bytes) if byte == 10]
        self.tree = PARSER.parse(self.bytes)

    def offset(self, at):
        """Bytes before a line and column (characters, both from 1)."""
        start = self.lines[at["line"] - 1]
        line = self.bytes[start:].split(b"\n", 1)[0].decode()
        return start + len(line[: at["column"] - 1].encode())

    def around(self, start, end, *kinds):
        """The smallest node of one of some kinds around a range."""
        node = self.tree.root_node.descendant_for_byte_range(start, end)
        while node is not None and node.type not in kinds:
            node = node.parent
        return node

    def plain(self, start, end):
        """The text of a range on one line, without comments."""
        cuts, nodes = [], [self.tree.root_node]
        while nodes:
            node = nodes.pop()
            if node.type in ("line_comment", "block_comment") and start <= node.start_byte and node.end_byte <= end:
                cuts.append((node.start_byte, node.end_byte))
            nodes += [child for child in node.children if child.end_byte > start and child.start_byte < end]
        out, at = b"", start
        for cut, behind in sorted(cuts):
            out, at = out + self.bytes[at:cut], behind
        text = (out + self.bytes[at:end]).decode()
        return text if re.search(r'"[^"]*\n[^"]*"', text) else re.sub(r"\s*\n\s*", " ", text)


def is_constant(node):
    while node is not None:
        modifiers = b"".join(child.text for child in node.children if child.type == "function_modifiers")
        if node.type in CONSTANT or b"const" in modifiers:
            return True
        node = node.parent
    return False


def place(source, mutant):
    """Where and how a mutant is written, or None where it cannot be."""
    start, end = (source.offset(mutant["span"][edge]) for edge in ("start", "end"))
    genre, new = mutant["genre"], mutant["replacement"]
    if genre == "FnValue":
        function = source.around(start, end, "function_item")
        if "impl " in mutant["function"]["return_type"] or is_constant(function):
            return None
        body = function.child_by_field_name("body")
        return Place("body", body.start_byte + 1, body.start_byte + 1, new)
    kinds = {
        "BinaryOperator": ("binary_expression", "compound_assignment_expr"),
        "UnaryOperator": ("unary_expression",),
        "StructField": ("struct_expression",),
        "MatchArm": ("match_arm",),
        "MatchArmGuard": ("match_arm",),
    }
    node = source.around(start, end, *kinds[genre])
    if node is None or is_constant(node):
        return None
    before, behind = source.plain(node.start_byte, start), source.plain(end, node.end_byte)
    if genre == "BinaryOperator":
        if node.child_by_field_name("operator").start_byte != start:
            return None
        kind = "statement" if node.type == "compound_assignment_expr" else "expression"
        return Place(kind, node.start_byte, node.end_byte, before + new + behind)
    if genre == "UnaryOperator":
        return Place("expression", node.start_byte, node.end_byte, before + (new or "") + behind)
    if genre == "StructField":
        return Place("expression", node.start_byte, node.end_byte, before + behind.lstrip().removeprefix(","))
    if genre == "MatchArmGuard":
        return Place("expression", start, end, new)
    pattern = node.child_by_field_name("pattern")
    condition = pattern.child_by_field_name("condition")
    if condition is not None:
        return Place("expression", condition.start_byte, condition.end_byte, "false")
    return Place("guard", pattern.end_byte, pattern.end_byte, "")


class Rewritten:
    """A file with its mutants written in; `ranges` says which bytes stand for which mutants."""

    def __init__(self, source, places):
        self.source, self.text, self.ranges, self.edits = source, bytearray(), [], {}
        for number, (kind, start, end, text) in places.items():
            self.edits.setdefault((start, end, kind), []).append((number, text))
        self.region(0, len(source.bytes), sorted(self.edits, key=lambda key: (key[0], -key[1])))

    def emit(self, text, numbers=()):
        start = len(self.text)
        self.text.extend(text if isinstance(text, bytes) else text.encode())
        if numbers:
            self.ranges.append((start, len(self.text), list(numbers)))

    def region(self, start, end, keys):
        """Copies a range, with the edits in it."""
        at, i = start, 0
        while i < len(keys):
            begin, stop, _ = keys[i]
            j = i + 1
            while j < len(keys) and keys[j][0] < stop:
                j += 1
            self.emit(self.source.bytes[at:begin])
            self.one(keys[i], keys[i + 1 : j])
            at, i = stop, j
        self.emit(self.source.bytes[at:end])

    def one(self, key, inner):
        """One place with all its mutants; behind them the code as it is, with the mutants in its parts."""
        start, end, kind = key
        numbers, whole = [number for number, _ in self.edits[key]], len(self.text)
        asks = f" match crate::mutation::on({min(numbers)}) {{"
        if kind == "guard":
            self.emit(" if " + " && ".join(f"crate::mutation::on({min(numbers)}) != {number}" for number in numbers))
        elif kind == "body":
            self.emit(asks)
            for number, text in self.edits[key]:
                self.emit(f" {number} => return {text},", [number])
            self.emit(" _ => {} } ")
        else:
            opening, closing, done = ("{", "}", ";") if kind == "statement" else ("(", ")", "")
            self.emit(opening + asks)
            for number, text in self.edits[key]:
                self.emit(f" {number} => {{ {text}{done} }}", [number])
            self.emit(" _ => { ")
            self.region(start, end, inner)
            self.emit(done + " } }" + closing)
        self.ranges.append((whole, len(self.text), numbers))


def blamed(message, ranges, guards):
    """The mutants that an error of the compiler lies in."""
    spans = [span for span in message["spans"] if span["is_primary"]]
    found = set()
    for span in spans + message["spans"] * (not found):
        inside = [(stop - start, numbers) for start, stop, numbers in ranges.get(span["file_name"], [])
                  if start <= span["byte_start"] and span["byte_end"] <= stop]
        around = [numbers for start, stop, numbers in ranges.get(span["file_name"], [])
                  if span["byte_start"] <= start and stop <= span["byte_end"]]
        found |= set(min(inside)[1]) if inside else {number for numbers in around for number in numbers}
        if found:
            return found
    if (message.get("code") or {}).get("code") == "E0004":  # an arm with a guard is no arm
        return {number for number, (path, line) in guards.items()
                if path == spans[0]["file_name"] and 0 <= line - spans[0]["line_start"] < 60}
    return found


def main():
    root, listed, out, command = sys.argv[1], sys.argv[2], sys.argv[3], sys.argv[4:]
    with open(listed) as file:
        mutants = dict(enumerate(json.load(file), 1))
    sources = {path: Source(root, path) for path in sorted({mutant["file"] for mutant in mutants.values()})}
    with open(os.path.join(root, "src/lib.rs")) as file:
        library = file.read()
    places = {number: place(sources[mutant["file"]], mutant) for number, mutant in mutants.items()}
    state = {number: "not placed" for number, where in places.items() if where is None}
    while True:
        ranges = {}
        for path, source in sources.items():
            chosen = {number: places[number] for number, mutant in mutants.items() if mutant["file"] == path and number not in state}
            written = Rewritten(source, chosen)
            ranges[path] = written.ranges
            with open(os.path.join(root, path), "wb") as file:
                file.write(written.text)
        with open(os.path.join(root, "src/lib.rs"), "w") as file:
            file.write(library + MODULE.replace("@COUNT@", str(len(mutants) + 1)))
        guards = {number: (mutants[number]["file"], mutants[number]["span"]["start"]["line"])
                  for number, where in places.items() if number not in state and where.kind == "guard"}
        run = subprocess.run([*command, "--message-format=json"], cwd=root, capture_output=True, text=True)
        lines = [json.loads(line) for line in run.stdout.splitlines() if line.startswith("{")]
        errors = [line["message"] for line in lines if line["reason"] == "compiler-message" and line["message"]["level"] == "error"]
        failing = set().union(*(blamed(error, ranges, guards) for error in errors if error["spans"]))
        print(f"{len(mutants) - len(state)} mutants written, {len(failing)} of them do not compile", flush=True)
        if run.returncode == 0:
            break
        if not failing:
            sys.exit("".join(error["rendered"] for error in errors) or run.stderr)
        state |= {number: "does not compile" for number in failing}
    groups = collections.defaultdict(list)
    for number, where in places.items():
        if number not in state:
            groups[mutants[number]["file"], where.start, where.end, where.kind].append(number)
    first = {number: min(group) for group in groups.values() for number in group}
    with open(out, "w") as file:
        built = {line["target"]["kind"][0]: line["executable"] for line in lines
                 if line["reason"] == "compiler-artifact" and line["profile"]["test"] and line["executable"]}
        json.dump({"mutants": mutants, "left_out": state, "first": first, "tests": built}, file)
    print(collections.Counter(state.values()))


if __name__ == "__main__":
    main()
