"""A flow that was really measured: hourly means of the water in a pipeline branch, L/s, over two months of 2022, as the package river
ships it (river.datasets.WaterFlow; donated by the water company that measured it). Its description names four spells that are not
the usual course: three in which little flows, for losses or maintenance, and a peak.

Only the file is read, so that what else river needs is not.
"""

import csv
import importlib.metadata
import json

name = "river/datasets/water-flow.csv"
(file,) = [file for file in importlib.metadata.files("river") if str(file) == name]
with open(file.locate(), newline="") as table:
    rows = list(csv.DictReader(table))
print(json.dumps([float(row["Water flow [l/s]"]) for row in rows]))
