"""A bare SQLite insert of the rows of a finished `features` layer.

The rows are first loaded into a table in memory; only their insert into a file, in one transaction
with SQLite's own defaults, is timed. It stays within SQLite, because rows that are bound from Python
would time Python. No spatial index, no GeoPackage tables, no computation.
"""

import sqlite3
import sys
import time


def main(source, out):
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.execute("ATTACH ? AS source", (source,))
    database.execute("CREATE TABLE loaded AS SELECT * FROM source.features")
    database.execute("DETACH source")

    columns = [(name, kind) for _, name, kind, *_ in database.execute("PRAGMA table_info(loaded)")]
    declared = ", ".join(f'"{name}" {kind}' for name, kind in columns[1:])
    database.execute("ATTACH ? AS out", (out,))
    database.execute(f"CREATE TABLE out.features (fid INTEGER PRIMARY KEY, {declared})")
    start = time.perf_counter()
    # The limit does nothing, except that SQLite cannot move whole records unopened.
    database.execute("INSERT INTO out.features SELECT * FROM loaded LIMIT -1")
    print(f"timed {time.perf_counter() - start:.3f}")
    database.close()


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: sqlite_baseline.py IN.gpkg OUT.sqlite")
    main(sys.argv[1], sys.argv[2])
