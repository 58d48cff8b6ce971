"""A trial's folder becomes all that a report tells or an export holds.

Takes the folder; reads its plan, its ledger and the kept photos. Gives the content that `present.report`
renders. Flags nothing: a photo that is gone is named in the report.
"""

from colscan.app.reporting.gather import gather_report

__all__ = ["gather_report"]
