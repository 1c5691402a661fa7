"""Writes a plain history anew as other programs write theirs. pandas reads it, turns its times and writes it."""

import sys

import pandas

plain, folder = sys.argv[1:3]
table = pandas.read_csv(plain, float_precision="round_trip")
when = pandas.to_datetime(table.pop("When"), utc=True)


def write(name, times, **how):
    """Times first, then the values, shortest decimals that read back to the same bits."""
    pandas.concat([times, table], axis=1).to_csv(f"{folder}/{name}", index=False, **how)


berlin = when.dt.tz_convert("Europe/Berlin")
assert berlin.dt.strftime("%H:%M:%S").duplicated().any(), "the history goes through the hour that repeats"
write(
    "berlin.csv",
    pandas.DataFrame({"Datum": berlin.dt.strftime("%d.%m.%Y"), "Zeit": berlin.dt.strftime("%H:%M:%S")}),
    sep=";",
    decimal=",",
)
kathmandu = when.dt.tz_convert("Asia/Kathmandu").map(lambda time: time.isoformat()).rename("When")
write("kathmandu.csv.gz", kathmandu, compression="gzip")
write("epoch.tsv", (when.astype("datetime64[ms, UTC]").astype("int64")).rename("ms"), sep="\t", lineterminator="\r\n")
write("chicago.csv", when.dt.tz_convert("America/Chicago").dt.strftime("%m/%d/%Y %I:%M:%S %p").rename("When"))
