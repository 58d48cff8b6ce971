"""A trial's data and results as tidy tables, with a codebook and a paragraph on the methods.

Takes a trial's folder; reads its plan and ledger. Gives a folder of CSV files that stand on their own: a row
a bag, a score, a fit; each column is declared once and explained in the codebook. Flags nothing.
"""

from colscan.app.export.folder import export_trial

__all__ = ["export_trial"]
