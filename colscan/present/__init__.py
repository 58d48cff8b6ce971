"""Values become what people look at: tables, charts, photos with marks.

Takes rows of text and numbers, a trial with its curves, or a photo with the rows of its ledger; does no
arithmetic on them. Gives text, the bytes of PNG, SVG and PDF files, or a new picture; writes nothing itself.
Flags nothing.
"""

from colscan.present.card_sheets import draw_card_sheets, letters_lacking
from colscan.present.chart import Shown, draw_chart
from colscan.present.face_chart import draw_face_table
from colscan.present.face_marks import FaceMarks
from colscan.present.full_chart import draw_full_chart
from colscan.present.mixing_sheet import draw_mixing_sheet
from colscan.present.overlay import draw_outlines, draw_overlay, encode_jpeg
from colscan.present.practice import draw_practice
from colscan.present.risk_chart import draw_risk_chart
from colscan.present.saving import ChartFiles
from colscan.present.shelf_plan import draw_shelf_plan
from colscan.present.table import Screen, render_rows
from colscan.present.yield_chart import draw_yield_chart

__all__ = [
    "render_rows", "Screen", "draw_chart", "FaceMarks", "draw_outlines", "draw_overlay", "encode_jpeg",
    "draw_card_sheets", "letters_lacking", "draw_mixing_sheet", "draw_practice", "draw_shelf_plan",
    "ChartFiles", "Shown", "draw_full_chart", "draw_risk_chart", "draw_yield_chart", "draw_face_table",
]  # fmt: skip
