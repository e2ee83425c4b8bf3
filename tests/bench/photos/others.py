"""Reads a set of pictures (a folder with truth.json) with general-purpose decoders, and prints what each read.

usage: others.py FOLDER
"""

import collections
import json
import pathlib
import statistics
import sys
import time

import cv2
import zxingcpp
from pyzbar import pyzbar


def zxing(grey):
    return [found.text for found in zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode)]


def zbar(grey):
    pixels = (grey.tobytes(), grey.shape[1], grey.shape[0])
    return [found.data.decode("utf8", "replace") for found in pyzbar.decode(pixels, symbols=[pyzbar.ZBarSymbol.QRCODE])]


def opencv(grey):
    try:
        found, texts, *_ = cv2.QRCodeDetector().detectAndDecodeMulti(grey)
    except cv2.error:
        return []
    return [text for text in texts if text] if found else []


DECODERS = {"zxing-cpp": zxing, "zbar": zbar, "OpenCV": opencv}


def main(folder):
    cv2.setNumThreads(1)
    read = collections.defaultdict(collections.Counter)
    texts, times, wrong = collections.Counter(), collections.defaultdict(list), collections.Counter()
    for shot in json.loads((folder / "truth.json").read_text()):
        grey = cv2.imread(str(folder / shot["file"]), cv2.IMREAD_GRAYSCALE)
        texts[shot["kind"]] += len(shot["texts"])
        for name, decode in DECODERS.items():
            start = time.process_time()
            found = decode(grey)
            times[name].append(1e3 * (time.process_time() - start))
            read[shot["kind"]][name] += sum(text in found for text in shot["texts"])
            wrong[name] += sum(text not in shot["texts"] for text in found)
    texts = {kind: count for kind, count in texts.items() if count}
    print(f"{'kind':24} {'texts':>6}", *(f"{name:>10}" for name in DECODERS))
    for kind, count in sorted(texts.items()):
        print(f"{kind:24} {count:>6}", *(f"{100 * read[kind][name] / count:>9.1f}%" for name in DECODERS))
    whole = sum(texts.values())
    share = lambda name: 100 * sum(of[name] for of in read.values()) / whole
    print(f"{'all':24} {whole:>6}", *(f"{share(name):>9.1f}%" for name in DECODERS))
    print(f"{'ms p50':31}", *(f"{statistics.median(times[name]):>10.1f}" for name in DECODERS))
    print(f"{'wrong texts':31}", *(f"{wrong[name]:>10}" for name in DECODERS))


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
