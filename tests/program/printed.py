"""What stands on each page of a PDF, by pypdf: its box in mm, its text without white space, and how far from the left
edge each run of text begins."""

import json
import sys

from pypdf import PdfReader

MM = 25.4 / 72.0
# Fonts draw these letters as one; on paper they are the same.
LIGATURES = str.maketrans({"\ufb00": "ff", "\ufb01": "fi", "\ufb02": "fl", "\ufb03": "ffi", "\ufb04": "ffl"})

pages = []
for page in PdfReader(sys.argv[1]).pages:
    starts = []

    def visit(text, cm, tm, font, size):
        if text.strip():
            starts.append((tm[4] * cm[0] + tm[5] * cm[2] + cm[4]) * MM)

    text = page.extract_text(visitor_text=visit)
    box = page.mediabox
    pages.append(
        {
            "width_mm": float(box.width) * MM,
            "height_mm": float(box.height) * MM,
            "text": "".join(text.split()).translate(LIGATURES),
            "starts_mm": starts,
        }
    )
json.dump(pages, sys.stdout)
