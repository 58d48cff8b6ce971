"""Values become what people look at: tables, charts, photos with marks.

Takes rows of text and numbers, a trial with its curves, or a photo with the rows of its ledger; does no
arithmetic on them. Gives text, the bytes of PNG, SVG and PDF files, or a new picture; writes nothing itself.
Flags nothing. What draws is imported from its own module, so that a table on the screen waits for none of it.
"""

from colscan.present.table import Screen, render_rows

__all__ = ["render_rows", "Screen"]
