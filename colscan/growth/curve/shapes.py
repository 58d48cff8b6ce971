"""Growth models in closed form: asymptote, greatest rate and lag are their parameters.

As Zwietering, Jongenburger, Rombouts, van 't Riet 1990 wrote them (Appl Environ Microbiol 56:1875-1881,
doi:10.1128/aem.56.6.1875-1881.1990): the greatest slope is the rate, the tangent there meets 0 at the lag.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from colscan.growth.model import FloatSeries


class Shape(StrEnum):
    """Growth models, each in the form of Zwietering et al. 1990."""

    LOGISTIC = "logistic"
    GOMPERTZ = "Gompertz"
    RICHARDS = "Richards"


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One model with its parameters.

    Parameters
    ----------
    shape : Shape
        Which model.
    asymptote : float
        Where it ends, over 0; the unit of the result.
    rate_per_day : float
        Greatest slope, over 0.
    lag_days : float
        Where the tangent of that slope meets 0.
    nu : float
        The Richards model's exponent, over 0: towards 0 it is the Gompertz model, at 1 the logistic one.
        The other shapes pass over it.
    """

    shape: Shape
    asymptote: float
    rate_per_day: float
    lag_days: float
    nu: float = 1.0

    def at(self, days: FloatSeries) -> FloatSeries:
        """Return the curve at some ages."""
        pace = self.rate_per_day / self.asymptote
        late = self.lag_days - np.asarray(days, dtype=np.float64)
        if self.shape is Shape.GOMPERTZ:
            return np.asarray(self.asymptote * np.exp(-np.exp(pace * math.e * late + 1.0)))
        nu = 1.0 if self.shape is Shape.LOGISTIC else self.nu
        return np.asarray(self.asymptote * np.exp(-richards_exponent(pace * late, np.asarray(nu))))

    def reach(self, share: float) -> float:
        """Return the age at which the curve comes to a share (over 0, under 1) of its asymptote."""
        span = self.asymptote / self.rate_per_day
        if self.shape is Shape.GOMPERTZ:
            return self.lag_days + span / math.e * (1.0 - math.log(-math.log(share)))
        if self.shape is Shape.LOGISTIC:
            return self.lag_days + span / 4.0 * (2.0 + math.log(share / (1.0 - share)))
        nu = self.nu
        bent = math.log(math.expm1(-nu * math.log(share)) / nu) - (1.0 + nu)
        return self.lag_days - span * bent / math.exp((1.0 + 1.0 / nu) * math.log1p(nu))


def richards_exponent(late: FloatSeries, nu: FloatSeries) -> FloatSeries:
    """Return the negative logarithm of the Richards model's share of its asymptote.

    Written with log1p, so that it comes down to the Gompertz model as `nu` goes to 0.

    Parameters
    ----------
    late : ndarray
        Days that the lag lies ahead, times rate over asymptote.
    nu : ndarray
        Exponent, over 0; broadcast against `late`.
    """
    steep = np.exp((1.0 + 1.0 / nu) * np.log1p(nu))
    with np.errstate(over="ignore"):
        return np.asarray(np.log1p(nu * np.exp(1.0 + nu + steep * late)) / nu)
