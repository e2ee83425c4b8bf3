"""Reads logs with pandas and counts the charge of each to the first sample at or below 2.7 V under load."""

import sys
import time

import pandas as pd

begin = time.perf_counter()
d = pd.read_csv(sys.argv[1])
key = d["battery"] + " " + d["discharge_no"].astype(str)
d["log"] = pd.factorize(key)[0]
d["low"] = (d["v"] <= 2.7) & (d["i"] < -1.0)
ended = d.groupby("log")["low"].cumsum()
d = d[(ended == 0) | ((ended == 1) & d["low"])]
same = d["log"].diff() == 0
charge = -(d["i"] + d["i"].shift()) / 2 * d["t_s"].diff() / 3.6
total = charge[same].groupby(d["log"][same]).sum().sum()
print(time.perf_counter() - begin, total)
