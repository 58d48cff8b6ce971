"""How large the risk is to lose a bag to contamination, by level, and the highest level still acceptable.

Takes trials with their ledgers; reads and writes no file. Gives a `RiskReport`: exact limits of the share
lost with what bags of a heat run share, trend and dose, expected losses, and where losses come from. Flags
nothing: what the bags can't show is said in its sentences.
"""

from colscan.growth.risk.assess import assess_risk
from colscan.growth.risk.model import (
    Dose,
    Level,
    LevelRisk,
    LossSource,
    RiskReport,
    SeriesRisk,
    Trend,
)

__all__ = ["assess_risk", "RiskReport", "SeriesRisk", "LevelRisk", "Level", "Trend", "Dose", "LossSource"]
