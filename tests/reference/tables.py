"""What general table readers make of an exported recording: pandas and polars read the CSV, polars the Parquet.

Reads {"csv": path, "parquet": path} from stdin; prints for each reader every column's name with its kind and its values,
floats as hexadecimal so that no bit is lost on the way.
"""
import json
import math
import sys

import pandas
import polars

asked = json.load(sys.stdin)


def plain(value):
    if value is None or (isinstance(value, float) and math.isnan(value)) or value is pandas.NA:
        return None
    if isinstance(value, float):
        return value.hex()
    return value


def columns(names, values):
    return {name: [plain(v) for v in values(name)] for name in names}


by_pandas = pandas.read_csv(asked["csv"], float_precision="round_trip", parse_dates=["time_utc"])
assert str(by_pandas["time_utc"].dtype).startswith("datetime64"), by_pandas["time_utc"].dtype
assert str(by_pandas["time_utc"].dt.tz) == "UTC"
numbers = by_pandas.select_dtypes("number").astype("object")
read = {"pandas": columns(numbers.columns, lambda name: numbers[name].tolist())}
for name, frame in {
    "polars_csv": polars.read_csv(asked["csv"], infer_schema_length=None),
    "polars_parquet": polars.read_parquet(asked["parquet"]),
}.items():
    read[name] = columns(frame.columns, lambda column: frame[column].to_list())
print(json.dumps(read))
