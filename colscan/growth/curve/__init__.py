"""How each bag grew: a curve with intervals for each segment.

Takes a trial's plan and its ledger's rows; gives for each bag and segment its greatest rate, lag, half and
90 % day with 90 % intervals, the model chosen, and the photos that don't fit.
Says in words what it is too early to say. Flags nothing.
"""

from colscan.growth.curve.fitting import fit_bag, fit_bags
from colscan.growth.curve.model import BagFit, Estimate, Measure
from colscan.growth.curve.sentence import describe_fit
from colscan.growth.curve.shapes import Curve, Shape

__all__ = [
    "fit_bag",
    "fit_bags",
    "describe_fit",
    "BagFit",
    "Curve",
    "Estimate",
    "Measure",
    "Shape",
]
