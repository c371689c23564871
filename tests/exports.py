"""Reads a table's Parquet file with Apache Arrow and holds it against its CSV and JSON lines."""
import csv
import json
import pathlib
import sys

import pyarrow.parquet

csv.field_size_limit(1 << 30)
folder = pathlib.Path(sys.argv[1])
for table in sys.argv[2:]:
    arrow = pyarrow.parquet.read_table(folder / f"{table}.parquet")
    rows = arrow.to_pylist()
    lines = [json.loads(line) for line in open(folder / f"{table}.jsonl", encoding="utf-8")]
    assert rows == lines, f"{table}: Parquet and JSON lines differ"
    with open(folder / f"{table}.csv", encoding="utf-8", newline="") as file:
        texts = list(csv.DictReader(file))
    assert len(texts) == len(rows), f"{table}: {len(texts)} rows of CSV, {len(rows)} of Parquet"
    for row, text in zip(rows, texts):
        assert list(row) == list(text), f"{table}: other columns"
        for name, value in row.items():
            read = text[name]
            if value is None:
                same = read == ""
            elif isinstance(value, float):
                same = float(read) == value
            else:
                same = read == str(value)
            assert same, f"{table} {name}: {read!r} in CSV, {value!r} in Parquet"
    print(table, len(rows), arrow.schema.names)
