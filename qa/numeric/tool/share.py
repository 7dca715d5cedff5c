"""What to expect of the next part from the mold, at its first fit.

The next part is seated by least squares like the others. Its deviation from target is
then tool + what its own errors leave, and the tool is known with an error of its own:
the predictive distribution is Student's t about the tool as told (normal where the
standard deviation is known). After a correction the tool is what was left alone, and
the error of what was corrected.
"""

from dataclasses import dataclass

import numpy as np

from qa.numeric.tool.bounds import drawn

WHOLE_DRAWS = 5_000


@dataclass(frozen=True)
class NextPart:
    """m characteristics of the next part: limits as deviations from target (m,), its
    predictive covariance (m, m) per variance of an error, standard deviation of an
    error (m,) mm and the degrees of freedom behind it (m,), infinite when known."""

    low: np.ndarray
    high: np.ndarray
    covariance: np.ndarray
    sd: np.ndarray
    degrees: np.ndarray

    def characteristics(self, tool: np.ndarray) -> float:
        """Expected share of characteristics that conform when the tool is `tool`."""
        from scipy.special import ndtr, stdtr

        spread = self.sd * np.sqrt(np.diag(self.covariance))
        known = np.isinf(self.degrees)
        degrees = np.where(known, 1.0, self.degrees)

        def below(limit):
            at = (limit - tool) / spread
            return np.where(known, ndtr(at), stdtr(degrees, at))

        return float((below(self.high) - below(self.low)).mean())

    def whole_parts(self, *tools: np.ndarray) -> list[float]:
        """Expected share of parts that conform in all of these, for each tool.

        By simulation with a fixed seed, 5,000 parts: standard error 0.7 % at worst.
        """
        errors = np.vstack(list(drawn(self.covariance, WHOLE_DRAWS))) * self.sd
        source = np.random.Generator(np.random.PCG64(0))
        for degrees in np.unique(self.degrees[np.isfinite(self.degrees)]):
            spread = np.sqrt(degrees / source.chisquare(degrees, WHOLE_DRAWS))
            errors[:, self.degrees == degrees] *= spread[:, None]
        return [
            float(((self.low <= e) & (e <= self.high)).all(axis=1).mean())
            for e in (tool + errors for tool in tools)
        ]
